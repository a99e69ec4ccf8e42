// tramlog parcel --private, by planting: what is known to be in a recording must not be in the parcel,
// whichever way one looks.
#include <unistd.h>

#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <cstring>
#include <filesystem>
#include <fstream>
#include <functional>
#include <map>
#include <nlohmann/json.hpp>
#include <set>

#include "can/can_id.hpp"
#include "cases/planted_bus.hpp"
#include "cases/program.hpp"

using namespace tramlog;
using namespace tramlog::cases;
namespace fs = std::filesystem;

namespace {

using Payload = PlantedBus::Payload;
constexpr std::uint64_t kMaster = 0xA0001900'B5F5E0D6;  // identity 0x15E0D6
constexpr std::uint64_t kMember = 0xA0001900'B5E77777;
constexpr std::uint64_t kReceiver = 0xA0001C00'B5E12345;
constexpr std::uint64_t kServer = 0xA0008200'B5E04321;  // task controller
constexpr std::uint64_t kAbsent = 0xA0002100'B5E0BEEF;  // in the roster only
const std::string kSerial = "SN-88417-Q", kShort = "K7", kVehicle = "VLX5550001234ABCD", kCode = "PC-0042-77",
                  kGnssSerial = "GN-5512-88";
const std::string kDecimal = "489335";  // the member's identity number
const std::string kLabel = "88417-Q";   // the end of the serial

class Folder {
 public:
  Folder() : path_(fs::temp_directory_path() / ("tramlog-private-" + std::to_string(::getpid()))) {
    fs::create_directories(path_);
  }
  ~Folder() { fs::remove_all(path_); }
  std::string operator/(const std::string& name) const { return path_ / name; }

 private:
  fs::path path_;
};

struct Place {
  std::int64_t latitude, longitude;  // 1e-7 degrees
};
/// North-east, 2.2 m a step.
Place place(int i) {
  return {521234567 + 200 * i, 107654321 + 100 * i};
}
constexpr std::int64_t kAltitude = 123'456'789;  // 1e-6 m

Payload device_pool() {
  const auto sized = [](const std::string& text) {
    return PlantedBus::joined({{static_cast<std::uint8_t>(text.size())}, PlantedBus::text(text)});
  };
  return PlantedBus::joined({PlantedBus::text("DVC"),
                             {0, 0},
                             sized("Drill"),
                             sized("4.2"),
                             PlantedBus::little(kMaster, 8),
                             sized(kSerial),
                             PlantedBus::text(kLabel),
                             {'e', 'n', 0x50, 0, 0x55, 0xAA, 0xFF},
                             PlantedBus::text("DET"),
                             {1, 0, 1},
                             sized(kSerial + " drill"),
                             {0, 0, 0, 0, 0, 0}});
}

void plant(const std::string& path) {
  auto writer = CaptureWriter::create(path);
  REQUIRE(writer);
  writer->add_bus({"can-of-Otto", 250000});
  PlantedBus bus(*writer);
  const auto claim = [&](std::uint64_t name, std::uint8_t address) {
    bus.single(0xEE00, address, 0xFF, PlantedBus::little(name, 8));
  };
  claim(kMaster, 0x80);
  claim(kMember, 0x81);
  claim(kReceiver, 0x1C);
  claim(kServer, 0x26);
  bus.wait(300 * kMillisecond);
  const std::string ecu = "part 7*" + kSerial + "*left*type*maker*";
  bus.broadcast(0xFDC5, 0x80, PlantedBus::text(ecu));
  bus.connection(0xFDC5, 0x81, 0x80, PlantedBus::text("part 8*" + kShort + "*right*type*maker*hardware*"));
  bus.broadcast(0xFEDA, 0x80, PlantedBus::joined({{1}, PlantedBus::text("MTR 4.2 " + kSerial + "*")}));
  bus.broadcast(
      0xFEDA, 0x81,
      PlantedBus::joined({{1}, PlantedBus::text("FW 3 SN" + kDecimal + " sn-88417-q SN.88417Q 0x15e0D6*")}));
  // An ordinary machine: a unit without identity number, serials that are words.
  claim(0xA0008400'00600000, 0x90);
  bus.broadcast(0xFDC5, 0x90, PlantedBus::text("part 9*controller*front*type*maker*"));
  bus.single(0xD700, 0x90, 0x26, PlantedBus::text("\x07Otto 16"));
  bus.single(0x9300, 0x90, 0x26, PlantedBus::text("Otto NM."));
  bus.connection(0xE700, 0x80, 0x26, PlantedBus::joined({{0xB8, 1, 0}, PlantedBus::text("drawn by Otto")}));
  bus.broadcast(0xFEEB, 0x81,
                PlantedBus::text("maker*model*" + kSerial + "*unit 9917-A*make 2*of Otto*SERB77665*"));
  bus.broadcast(0xFC8D, 0x80, PlantedBus::text(kCode + "*brand*model*"));
  bus.broadcast(0xFEEC, 0x80, PlantedBus::text(kVehicle + "*Otto's VIN 98765*"));
  // Working set, commanded address, structure label, pool: short, and over more than 255 packets.
  bus.single(0xFE0D, 0x80, 0xFF, {2, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF});
  bus.single(0xFE0C, 0x80, 0xFF, PlantedBus::little(kMember, 8));
  bus.broadcast(0xFED8, 0x26, PlantedBus::joined({PlantedBus::little(kMember, 8), {0x90}}));
  bus.single(0xCB00, 0x26, 0x80, PlantedBus::joined({{0x11}, PlantedBus::text(kLabel)}));
  bus.connection(0xCB00, 0x80, 0x26, PlantedBus::joined({{0x61}, device_pool()}));
  bus.single(0xCB00, 0x26, 0x80, {0x71, 0, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF});
  bus.single(0xCB00, 0x80, 0x26, {0x81, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF});
  bus.single(0xCB00, 0x26, 0x80, {0x91, 0, 0xFF, 0xFF, 0xFF, 0xFF, 0, 0xFF});
  bus.long_connection(
      0xCB00, 0x80, 0x26,
      PlantedBus::joined({{0x61}, device_pool(), Payload(1900, 0xFF), PlantedBus::text(kSerial)}));
  // What only its maker can read.
  bus.single(0xEF00, 0x80, 0x26, PlantedBus::text("N-88417-"));
  bus.single(0xFF21, 0x80, 0xFF, PlantedBus::text("Otto B."));
  bus.broadcast(0xFF10, 0x80, PlantedBus::text("private message of " + kSerial + " for Otto"));
  bus.single(0x1FF20, 0x1C, 0xFF, PlantedBus::text("Otto 12"));
  bus.eleven_bit(0x123, PlantedBus::text("SN-88417"));
  // Files, masks, texts, what somebody typed.
  bus.connection(0xAA00, 0x80, 0x26,
                 PlantedBus::text("\x20\x01"
                                  "fields/Otto/mill.txt"));
  bus.connection(0xAB00, 0x26, 0x80,
                 PlantedBus::joined({{0x20, 1, 0}, PlantedBus::text(" Otto's field by the mill")}));
  bus.connection(0xE700, 0x80, 0x26,
                 PlantedBus::joined({{0xB3, 1, 0, 24, 0}, PlantedBus::text("Otto: 52.1234567 N 10.76")}));
  bus.connection(0xE700, 0x80, 0x26,
                 PlantedBus::joined({{0x11}, PlantedBus::text("mask of Otto, " + kSerial)}));
  bus.connection(0xE600, 0x26, 0x80,
                 PlantedBus::joined({{0x08, 1, 0, 12}, PlantedBus::text("typed: Otto!")}));
  // Transfers that never end, and one whose beginning is missing.
  bus.broadcast(0xFDC5, 0x81, PlantedBus::text(ecu), 3);
  bus.wait(2 * kSecond);
  bus.single(0xEB00, 0x81, 0x80, PlantedBus::joined({{1}, PlantedBus::text("SN-8841")}));
  bus.wait(2 * kSecond);
  // The receiver.
  Payload product =
      PlantedBus::joined({{0x34, 0x08, 0x11, 0x22}, Payload(96, ' '), PlantedBus::text(kGnssSerial)});
  product.resize(132, ' ');
  product.push_back(1);
  product.push_back(1);
  bus.fast_packet(126996, 0x1C, product);
  const std::string described = "Otto's roof";
  bus.fast_packet(
      126998, 0x1C,
      PlantedBus::joined(
          {{static_cast<std::uint8_t>(described.size() + 2), 1}, PlantedBus::text(described), {2, 1, 2, 1}}));
  bus.fast_packet(129540, 0x1C, PlantedBus::joined({{1, 0xFF, 1}, PlantedBus::text("SKYVIEW-12ab")}));
  for (int i = 0; i < 100; ++i) {
    const Place at = place(i);
    bus.single(129025, 0x1C, 0xFF,
               PlantedBus::joined({PlantedBus::little(static_cast<std::uint64_t>(at.latitude), 4),
                                   PlantedBus::little(static_cast<std::uint64_t>(at.longitude), 4)}));
    bus.single(0xFEF3, 0x1C, 0xFF,
               PlantedBus::joined(
                   {PlantedBus::little(static_cast<std::uint64_t>(at.latitude + 2'100'000'000), 4),
                    PlantedBus::little(static_cast<std::uint64_t>(at.longitude + 2'100'000'000), 4)}));
    bus.single(0xFEE8, 0x1C, 0xFF,
               PlantedBus::joined({{0, 0x20, 0, 8, 0, 0x64}, PlantedBus::little(20'000 + 988, 2)}));
    Payload data =
        PlantedBus::joined({{1, 0x10, 0x50, 0, 0, 0, 0},
                            PlantedBus::little(static_cast<std::uint64_t>(at.latitude * 1'000'000'000), 8),
                            PlantedBus::little(static_cast<std::uint64_t>(at.longitude * 1'000'000'000), 8),
                            PlantedBus::little(kAltitude, 8),
                            {0x41, 0xFC, 12, 80, 0, 90, 0},
                            PlantedBus::little(4711, 4),
                            {1, 0x5C, 0x0D, 10, 0}});
    bus.fast_packet(129029, 0x1C, data, i == 50 ? 3 : 999);
    bus.wait(150 * kMillisecond);
    if (i == 20) {
      RecorderNote note;
      note.kind = RecorderNote::Kind::mark;
      note.text = "Otto says it stopped here";
      writer->write_note(0, bus.now(), note);
      note.kind = RecorderNote::Kind::disk;
      note.text = "/media/otto/Otto is full";
      writer->write_note(0, bus.now(), note);
    }
  }
  REQUIRE(writer->finish());
}

std::string hex(std::uint64_t name) {
  std::string text(16, '0');
  for (std::size_t i = 16; i-- > 0; name >>= 4) text[i] = "0123456789abcdef"[name & 15];
  return text;
}

std::string bytes_of(std::uint64_t value, unsigned count) {
  const Payload data = PlantedBus::little(value, count);
  return {data.begin(), data.end()};
}

/// Everything that must not be found, with its name.
std::vector<std::pair<std::string, std::string>> planted() {
  std::vector<std::pair<std::string, std::string>> list{{"serial", kSerial},
                                                        {"part of the serial", "8841"},
                                                        {"vehicle", kVehicle},
                                                        {"identity in decimal", "SN" + kDecimal},
                                                        {"serial in lower case", "sn-88417-q"},
                                                        {"serial in another spelling", ".88417Q"},
                                                        {"identity in hex", "0x15e0D6"},
                                                        {"product code", kCode},
                                                        {"unit number", "unit 9917-A"},
                                                        {"second serial", "SERB77665"},
                                                        {"second vehicle", "98765"},
                                                        {"receiver's serial", kGnssSerial},
                                                        {"a person", "Otto"},
                                                        {"capture name", "ottokar"},
                                                        {"a place", "mill"},
                                                        {"sky view", "SKYVIEW"},
                                                        {"latitude in words", "52.12"},
                                                        {"longitude in words", "10.76"}};
  for (const std::uint64_t name : {kMaster, kMember, kReceiver, kServer, kAbsent}) {
    list.emplace_back("NAME " + hex(name), bytes_of(name, 8));
    list.emplace_back("NAME in hex", hex(name));
  }
  for (int i = 0; i < 100; ++i) {
    const Place at = place(i);
    list.emplace_back("latitude", bytes_of(static_cast<std::uint64_t>(at.latitude), 4));
    list.emplace_back("longitude", bytes_of(static_cast<std::uint64_t>(at.longitude), 4));
    list.emplace_back("vehicle latitude",
                      bytes_of(static_cast<std::uint64_t>(at.latitude + 2'100'000'000), 4));
    list.emplace_back("fine latitude",
                      bytes_of(static_cast<std::uint64_t>(at.latitude * 1'000'000'000), 8).substr(3));
    list.emplace_back("fine longitude",
                      bytes_of(static_cast<std::uint64_t>(at.longitude * 1'000'000'000), 8).substr(3));
  }
  list.emplace_back("altitude", bytes_of(kAltitude, 8).substr(0, 5));
  return list;
}

struct RawFrame {
  std::uint32_t id = 0;
  std::string data;
};

/// Straight from the enhanced packet blocks.
std::vector<RawFrame> raw_frames(const std::string& bytes) {
  const auto le32 = [&](std::size_t at) {
    std::uint32_t value = 0;
    for (std::size_t i = 4; i-- > 0;) value = value << 8 | static_cast<unsigned char>(bytes[at + i]);
    return value;
  };
  std::vector<RawFrame> frames;
  for (std::size_t at = 0; at + 12 <= bytes.size(); at += le32(at + 4)) {
    if (le32(at) != 6) continue;
    RawFrame frame;
    for (std::size_t i = 0; i < 4; ++i)
      frame.id = frame.id << 8 | static_cast<unsigned char>(bytes[at + 28 + i]);
    frame.data = bytes.substr(at + 36, static_cast<unsigned char>(bytes[at + 32]));
    frames.push_back(frame);
  }
  return frames;
}

/// What each sender said, run together: frames whole, and what transfers carry without numbers in between.
std::vector<std::string> run_together(const std::vector<RawFrame>& frames) {
  std::map<std::uint32_t, std::string> whole, from_second, from_second_or_third;
  for (const RawFrame& frame : frames) {
    if (frame.data.empty()) continue;
    whole[frame.id] += frame.data;
    from_second[frame.id] += frame.data.substr(1);
    from_second_or_third[frame.id] +=
        frame.data.substr((frame.data[0] & 0x1F) == 0 && frame.data.size() > 1 ? 2 : 1);
  }
  std::vector<std::string> texts;
  for (const auto* map : {&whole, &from_second, &from_second_or_third})
    for (const auto& [id, text] : *map) texts.push_back(text);
  return texts;
}

std::vector<std::string> found_in(const std::string& text) {
  std::vector<std::string> found;
  for (const auto& [what, bytes] : planted())
    if (text.find(bytes) != std::string::npos) found.push_back(what);
  return found;
}

std::string unpacked(const std::string& path) {
  return run("zstd -dcq " + quoted(path)).output;
}

}  // namespace

TEST_CASE("What is planted in a recording is nowhere in a private parcel", "[private]") {
  const Folder folder;
  const std::string capture = folder / "ottokar-monday.pcapng", roster = folder / "ottokar.toml";
  plant(capture);
  std::ofstream(roster)
      << "# call Otto at the mill\nmachine = \"Drill\"\n[[controller]]\nlabel = \"master\"\nname = \""
      << hex(kMaster) << "\"\nsoftware = [\"MTR 4.2 " << kSerial
      << "\"]\n[[controller]]\nlabel = \"terminal\"\nname = \"" << hex(kAbsent)
      << "\"\n[[controller]]\nlabel = \"member\"\nname = { identity_number = " << (kMember & 0x1FFFFF)
      << " }\n";

  // The search itself finds everything in the true recording.
  {
    const std::string bytes = file_text(capture);
    std::set<std::string> seen;
    for (const std::string& text : run_together(raw_frames(bytes)))
      for (const std::string& what : found_in(text)) seen.insert(what);
    for (const std::string what : {"serial", "vehicle", "product code", "unit number", "receiver's serial",
                                   "a person", "a place", "sky view", "latitude", "longitude",
                                   "vehicle latitude", "fine latitude", "fine longitude", "altitude"}) {
      INFO(what);
      CHECK(seen.contains(what));
    }
    CHECK(seen.contains("NAME " + hex(kMember)));
  }

  for (const std::string kind : {"eml", "zip"}) {
    INFO(kind);
    const std::string parcel = folder / ("parcel." + kind), out = folder / ("out-" + kind);
    const Outcome made = run("TRAMLOG parcel --private --place --roster " + quoted(roster) + " " +
                             quoted(capture) + " -o " + quoted(parcel));
    INFO(made.errors);
    REQUIRE(made.code == 0);
    REQUIRE(run("TRAMLOG parcel --unpack " + quoted(parcel) + " -o " + quoted(out)).code == 0);
    std::size_t members = 0;
    for (const auto& entry : fs::directory_iterator(out)) {
      INFO(entry.path().filename());
      ++members;
      CHECK(found_in(entry.path().filename().string()).empty());
      if (entry.path().extension() == ".zst") {
        const std::string bytes = unpacked(entry.path());
        const auto frames = raw_frames(bytes);
        CHECK(frames.size() == raw_frames(file_text(capture)).size());
        CHECK(found_in(bytes) == std::vector<std::string>{});
        for (const std::string& text : run_together(frames))
          CHECK(found_in(text) == std::vector<std::string>{});
      } else {
        CHECK(found_in(file_text(entry.path())) == std::vector<std::string>{});
      }
    }
    CHECK(members >= 8);

    // The short serial, and the same stand-in for the same serial.
    const auto json = nlohmann::json::parse(file_text(out + "/report.json"));
    std::string stand_in;
    bool said_nothing = false;
    for (const auto& controller : json["controllers"]) {
      if (controller["ecu_identification"].is_null()) continue;
      const std::string serial = controller["ecu_identification"]["serial_number"];
      CHECK(serial != kShort);
      CHECK((serial.size() == kSerial.size() || serial.size() == kShort.size()));
      if (serial == "controller") {
        said_nothing = true;
      } else if (serial.size() == kSerial.size()) {
        stand_in = serial;
        CHECK(controller["software"][0] == "MTR 4.2 " + stand_in);
        CHECK(controller["label"] == "master");
      }
    }
    REQUIRE(stand_in.size() == kSerial.size());
    CHECK(said_nothing);
    std::string description;
    for (const auto& entry : fs::directory_iterator(out))
      if (entry.path().extension() == ".pool") description = file_text(entry.path());
    CHECK(description.find(stand_in) != std::string::npos);
    CHECK(description.find(stand_in + " drill") != std::string::npos);
    CHECK(file_text(out + "/roster.toml").find("MTR 4.2 " + stand_in) != std::string::npos);
    for (const auto& entry : json["roster"]["entries"]) {
      INFO(entry.dump());
      CHECK(entry["state"] == (entry["label"] == "terminal" ? "missing" : "present"));
    }

    // The made-up track is as long as the true one: 99 steps of 200 and 100 x cos(52.1) units, due north.
    std::vector<std::int32_t> latitudes;
    for (const RawFrame& frame : raw_frames(unpacked(out + "/slices.pcapng.zst")))
      if ((frame.id >> 8 & 0x3FFFF) == 129025) {
        std::int32_t latitude = 0, longitude = 0;
        std::memcpy(&latitude, frame.data.data(), 4);
        std::memcpy(&longitude, frame.data.data() + 4, 4);
        CHECK(longitude == 0);
        latitudes.push_back(latitude);
      }
    REQUIRE(latitudes.size() == 100);
    CHECK(latitudes.front() == 0);
    CHECK(std::is_sorted(latitudes.begin(), latitudes.end(), std::less_equal<>()));
    const double step = std::hypot(200.0, 100 * std::cos(52.1234567 * 3.14159265358979 / 180));
    CHECK(latitudes.back() == Approx(99 * step).margin(2));
  }
}
