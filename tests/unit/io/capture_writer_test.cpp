#include "io/capture_writer.hpp"

#include <fcntl.h>
#include <sys/stat.h>
#include <unistd.h>
#include <zstd.h>

#include <catch2/catch.hpp>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <sstream>
#include <vector>

#include "unit/temp_folder.hpp"

using namespace tramlog;

namespace {

constexpr TimeNs kTime = 1700000000123456789;

struct Place {
  std::string path;
  explicit Place(const std::string& tail) {
    std::string pattern = (std::filesystem::temp_directory_path() / "writer-XXXXXX").string();
    const int descriptor = ::mkstemp(pattern.data());
    REQUIRE(descriptor >= 0);
    ::close(descriptor);
    std::filesystem::remove(pattern);
    path = pattern + tail;
  }
  Place(const Place&) = delete;
  Place& operator=(const Place&) = delete;
  ~Place() {
    std::error_code ignored;
    std::filesystem::remove(path, ignored);
  }
  std::string bytes() const {
    std::ifstream in(path, std::ios::binary);
    std::ostringstream text;
    text << in.rdbuf();
    return text.str();
  }
};

std::string from_hex(const std::string& hex) {
  std::string bytes;
  std::istringstream in(hex);
  for (std::string pair; in >> pair;) bytes.push_back(static_cast<char>(std::stoi(pair, nullptr, 16)));
  return bytes;
}

Event frame(std::uint32_t id, const std::vector<std::uint8_t>& data, unsigned flags = kExtendedId) {
  Event event;
  event.time = kTime;
  event.id = id;
  event.data = data.data();
  event.len = static_cast<std::uint8_t>(data.size());
  event.flags = static_cast<std::uint8_t>(flags);
  return event;
}

const std::string kHeader = from_hex(
    "0A 0D 0D 0A 1C 00 00 00 4D 3C 2B 1A 01 00 00 00 FF FF FF FF FF FF FF FF 1C 00 00 00 "
    "01 00 00 00 34 00 00 00 E3 00 00 00 00 00 00 00 02 00 04 00 63 61 6E 30 09 00 01 00 09 00 00 00 "
    "08 00 08 00 90 D0 03 00 00 00 00 00 00 00 00 00 34 00 00 00");

template <class Fill>
std::string written(const std::string& tail, Fill fill) {
  Place place(tail);
  auto writer = CaptureWriter::create(place.path);
  REQUIRE(writer.ok());
  writer->add_bus({"can0", 250000});
  fill(*writer);
  REQUIRE(writer->finish().ok());
  return place.bytes();
}

}  // namespace

TEST_CASE("writer: the example bytes of the fact sheet") {
  const std::vector<std::uint8_t> request = {0x00, 0xEE, 0x00};
  const std::string bytes = written(".pcapng", [&](CaptureWriter& writer) {
    writer.write_frame(frame(0x18EAFFFE, request));
    writer.write_counters(0, kTime, {2, 0, 0});
  });
  CHECK(bytes == kHeader + from_hex("06 00 00 00 2C 00 00 00 00 00 00 00 FE 9C 97 17 15 CD 85 3D 0B 00 00 00 "
                                    "0B 00 00 00 98 EA FF FE "
                                    "03 00 00 00 00 EE 00 00 2C 00 00 00 "
                                    "05 00 00 00 40 00 00 00 00 00 00 00 FE 9C 97 17 15 CD 85 3D 04 00 08 00 "
                                    "02 00 00 00 00 00 00 00 "
                                    "05 00 08 00 00 00 00 00 00 00 00 00 07 00 08 00 00 00 00 00 00 00 00 00 "
                                    "00 00 00 00 40 00 00 00"));
}

TEST_CASE("writer: outbound frames and losses are options of the packet") {
  const std::vector<std::uint8_t> none;
  const std::string bytes = written(".pcapng", [&](CaptureWriter& writer) {
    writer.write_frame(frame(0x18FF1080, none, kExtendedId | kOutbound), 5);
  });
  CHECK(
      bytes.substr(kHeader.size()) ==
      from_hex(
          "06 00 00 00 40 00 00 00 00 00 00 00 FE 9C 97 17 15 CD 85 3D 08 00 00 00 08 00 00 00 98 FF 10 80 "
          "00 00 00 00 02 00 04 00 02 00 00 00 04 00 08 00 05 00 00 00 00 00 00 00 00 00 00 00 40 00 00 00"));
}

TEST_CASE("writer: remote, standard, FD and error frames") {
  const std::vector<std::uint8_t> eight(8, 1), twenty(20, 2);
  const std::string bytes = written(".pcapng", [&](CaptureWriter& writer) {
    writer.write_frame(frame(0x7DF, eight, kRemote));                                   // 40 bytes
    writer.write_frame(frame(0x18FF5033, twenty, kExtendedId | kFd | kBitRateSwitch));  // 60 bytes
    Event error = frame(0x40, eight, 0);
    error.kind = EventKind::error;
    writer.write_frame(error);
  });
  const auto part = [&](std::size_t at, std::size_t size) { return bytes.substr(kHeader.size() + at, size); };
  CHECK(part(28, 8) == from_hex("40 00 07 DF 08 00 00 00"));
  CHECK(part(20, 4) == from_hex("08 00 00 00"));
  CHECK(part(40 + 28, 8) == from_hex("98 FF 50 33 14 05 00 00"));
  CHECK(part(40 + 60 + 28, 9) == from_hex("20 00 00 40 08 00 00 00 01"));
}

TEST_CASE("writer: a link state") {
  const std::string bytes =
      written(".pcapng", [](CaptureWriter& writer) { writer.write_link(0, kTime, LinkState::paused); });
  CHECK(bytes.substr(kHeader.size()) ==
        from_hex(
            "05 00 00 00 24 00 00 00 00 00 00 00 FE 9C 97 17 15 CD 85 3D 01 80 01 00 02 00 00 00 00 00 00 00 "
            "24 00 00 00"));
}

TEST_CASE("writer: compressed captures are independent Zstandard frames of the same bytes") {
  const std::vector<std::uint8_t> data = {1, 2, 3, 4, 5, 6, 7, 8};
  const auto fill = [&](CaptureWriter& writer) {
    for (int i = 0; i < 60'000; ++i) writer.write_frame(frame(0x18FF1080, data));  // 2.9 MB
  };
  const std::string plain = written(".pcapng", fill), packed = written(".pcapng.zst", fill);
  CHECK(packed.size() < plain.size() / 10);
  std::string unpacked;
  std::size_t at = 0, frames = 0;
  while (at < packed.size()) {
    const std::size_t size = ZSTD_findFrameCompressedSize(packed.data() + at, packed.size() - at);
    REQUIRE_FALSE(ZSTD_isError(size));
    std::string piece(ZSTD_getFrameContentSize(packed.data() + at, size), '\0');
    REQUIRE(ZSTD_decompress(piece.data(), piece.size(), packed.data() + at, size) == piece.size());
    unpacked += piece;
    at += size;
    ++frames;
  }
  CHECK(unpacked == plain);
  CHECK(frames == 3);
}

TEST_CASE("writer: after a flush everything so far is in the file") {
  const std::vector<std::uint8_t> data = {1};
  for (const std::string tail : {".pcapng", ".pcapng.zst"}) {
    Place place(tail);
    auto writer = CaptureWriter::create(place.path);
    REQUIRE(writer.ok());
    writer->add_bus({"can0", 250000});
    CHECK(place.bytes().empty());
    CHECK(writer->flush());
    const std::size_t before = place.bytes().size();
    CHECK(before > 40);
    writer->write_frame(frame(0x18FF1080, data));
    CHECK(writer->flush());
    CHECK(place.bytes().size() > before);
  }
}

TEST_CASE("writer: a full disk and a missing folder are told") {
  CHECK_FALSE(CaptureWriter::create("/nonexistent/x.pcapng").ok());
  const std::vector<std::uint8_t> data = {1};
  auto writer = CaptureWriter::create("/dev/full");
  REQUIRE(writer.ok());
  writer->write_frame(frame(0x18FF1080, data));
  CHECK_FALSE(writer->flush());
  const auto result = writer->finish();
  REQUIRE_FALSE(result.ok());
  CHECK(result.error().kind == ErrorKind::environment);
  CHECK(result.error().where == "/dev/full");
}

namespace {

CaptureWriter writer_beside(const std::string& path) {
  auto writer = CaptureWriter::create_beside(path);
  REQUIRE(writer.ok());
  return std::move(*writer);
}

}  // namespace

TEST_CASE("writer: a capture comes to its place when it is whole, and nobody's file is touched") {
  const test::TempFolder folder;
  const std::string path = folder.write("c.pcapng", "old");
  folder.write("c.pcapng.part", "another's");
  std::filesystem::permissions(path, std::filesystem::perms::owner_read | std::filesystem::perms::owner_write);
  {
    CaptureWriter writer = writer_beside(path);
    writer.add_bus({"can0", 250000});
    CHECK(writer.flush());
    CHECK(folder.read("c.pcapng") == "old");
    CHECK(folder.names().size() == 3);
  }
  CHECK(folder.names() == std::vector<std::string>{"c.pcapng", "c.pcapng.part"});
  CHECK(folder.read("c.pcapng") == "old");
  CaptureWriter writer = writer_beside(path);
  writer.add_bus({"can0", 250000});
  REQUIRE(writer.finish().ok());
  CHECK(folder.read("c.pcapng").substr(0, 4) == "\x0A\x0D\x0D\x0A");
  CHECK(folder.read("c.pcapng.part") == "another's");
  CHECK(folder.names().size() == 2);
  CHECK(std::filesystem::status(path).permissions() ==
        (std::filesystem::perms::owner_read | std::filesystem::perms::owner_write));
}

TEST_CASE("writer: what a link points to is replaced, not the link") {
  const test::TempFolder folder;
  std::filesystem::create_directory(folder.path("far"));
  folder.write("far/c.pcapng", "old");
  std::filesystem::create_symlink("far/c.pcapng", folder.path("there"));
  std::filesystem::create_symlink("far/new.pcapng", folder.path("nowhere"));
  for (const std::string name : {"there", "nowhere"}) {
    REQUIRE(writer_beside(folder.path(name)).finish().ok());
    CHECK(std::filesystem::is_symlink(folder.path(name)));
    CHECK(folder.read(name).size() == folder.read("far/c.pcapng").size());
    CHECK(folder.read(name).substr(0, 4) == "\x0A\x0D\x0D\x0A");
  }
  CHECK(folder.names() == std::vector<std::string>{"far", "nowhere", "there"});
}

TEST_CASE("writer: a pipe stays a pipe and is written to") {
  const test::TempFolder folder;
  const std::string path = folder.path("pipe");
  REQUIRE(::mkfifo(path.c_str(), 0600) == 0);
  const int reader = ::open(path.c_str(), O_RDONLY | O_NONBLOCK);
  REQUIRE(reader >= 0);
  CaptureWriter writer = writer_beside(path);
  writer.add_bus({"can0", 250000});
  const auto bytes = writer.finish();
  REQUIRE(bytes.ok());
  char buffer[4096];
  const ssize_t got = ::read(reader, buffer, sizeof buffer);
  ::close(reader);
  CHECK(got == static_cast<ssize_t>(bytes.value()));
  CHECK(std::string(buffer, 4) == "\x0A\x0D\x0D\x0A");
  CHECK(std::filesystem::is_fifo(path));
  CHECK(folder.names().size() == 1);
}
