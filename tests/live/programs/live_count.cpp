// What is in a recording, counted twice: with our reader (frames, losses, notes, gaps of the running
// numbers), and only the packets, file by file, with libpcap. One line a bus, one a sender of numbered
// frames, one for all.
#include <pcap/pcap.h>

#include <CLI/CLI.hpp>
#include <algorithm>
#include <cstdio>
#include <cstring>
#include <map>
#include <memory>
#include <set>

#include "io/capture_reader.hpp"
#include "live.hpp"

namespace {

using tramlog::Event;
using tramlog::EventKind;

struct Bus {
  std::string name;
  std::uint64_t frames = 0;
  std::uint64_t outbound = 0;
  std::uint64_t errors = 0;
  std::uint64_t lost = 0;  // told by the recorder
  std::uint64_t ups = 0;
  std::uint64_t downs = 0;
  std::uint64_t pauses = 0;
  std::uint64_t random_wrong = 0;  // frames that are not the next one of the seed
  std::uint64_t received = 0;      // last statistics: frames of the interface
  std::uint64_t dropped = 0;       // .. and lost before any socket
  std::uint64_t statistics = 0;
  std::int64_t longest_gap = 0;  // ns between two frames
  std::int64_t last_time = 0;
  std::unique_ptr<live::RandomFrames> random;
};

struct Numbers {
  std::uint64_t frames = 0;
  std::uint32_t first = 0;
  std::uint32_t last = 0;  // highest
  std::uint64_t disordered = 0;
  std::uint64_t repeated = 0;
  std::uint64_t spoiled = 0;  // check wrong
  std::uint32_t before = 0;
  std::vector<bool> seen;  // by number

  void add(const live::Number& number) {
    if (!number.sound) {
      ++spoiled;
      return;
    }
    if (frames++ == 0)
      first = last = number.number;
    else if (number.number < before)
      ++disordered;
    if (seen.size() <= number.number && number.number < 100'000'000)
      seen.resize(number.number + std::size_t{1} + number.number / 2);
    if (number.number < seen.size()) {
      if (seen[number.number]) ++repeated;
      seen[number.number] = true;
    }
    before = number.number;
    first = std::min(first, number.number);
    last = std::max(last, number.number);
  }
  std::uint64_t missing() const {
    return frames == 0 ? 0 : last - first + std::uint64_t{1} - (frames - repeated);
  }
};

struct All {
  std::map<tramlog::BusIndex, Bus> buses;
  std::map<std::pair<tramlog::BusIndex, unsigned>, Numbers> numbers;
  std::map<int, std::uint64_t> notes;
  std::uint64_t not_recorded = 0;
  std::uint64_t packets = 0;
  std::uint64_t foreign = 0;
  std::uint64_t damages = 0;
  std::uint64_t damaged_bytes = 0;
  std::int64_t steps_back = 0;  // largest, ns
  std::int64_t last_time = 0;
};

void take_notice(const Event& event, Bus& bus, All& all) {
  if (const auto* info = std::get_if<tramlog::BusInfo>(event.notice)) bus.name = info->name;
  if (const auto* lost = std::get_if<tramlog::FramesLost>(event.notice)) bus.lost += lost->frames;
  if (const auto* counters = std::get_if<tramlog::Counters>(event.notice)) {
    ++bus.statistics;
    bus.received = counters->received.value_or(bus.received);
    bus.dropped = counters->interface_dropped.value_or(bus.dropped);
  }
  if (const auto* link = std::get_if<tramlog::LinkChange>(event.notice)) {
    bus.ups += link->state == tramlog::LinkState::up;
    bus.downs += link->state == tramlog::LinkState::down;
    bus.pauses += link->state == tramlog::LinkState::paused;
  }
  if (const auto* damage = std::get_if<tramlog::Damage>(event.notice)) {
    ++all.damages;
    all.damaged_bytes += damage->bytes;
    std::printf("damage offset=%llu bytes=%llu reason=%s\n", static_cast<unsigned long long>(damage->offset),
                static_cast<unsigned long long>(damage->bytes), damage->reason.c_str());
  }
  if (const auto* note = std::get_if<tramlog::RecorderNote>(event.notice)) {
    ++all.notes[static_cast<int>(note->kind)];
    if (note->kind == tramlog::RecorderNote::Kind::not_recorded) all.not_recorded += note->number;
    std::printf("note kind=%d bus=%s number=%llu text=%s\n", static_cast<int>(note->kind),
                note->of_bus ? bus.name.c_str() : "-", static_cast<unsigned long long>(note->number),
                note->text.c_str());
  }
}

bool is_same(const can_frame& sent, const Event& event) {
  const std::uint32_t flags = ((event.flags & tramlog::kExtendedId) != 0 ? CAN_EFF_FLAG : 0U) |
                              ((event.flags & tramlog::kRemote) != 0 ? CAN_RTR_FLAG : 0U);
  if (sent.can_id != (event.id | flags) || sent.len != event.len) return false;
  return (event.flags & tramlog::kRemote) != 0 || std::memcmp(sent.data, event.data, sent.len) == 0;
}

void take(const Event& event, All& all, const std::map<std::string, std::uint64_t>& seeds) {
  Bus& bus = all.buses[event.bus];
  if (event.kind == EventKind::notice) {
    take_notice(event, bus, all);
    return;
  }
  ++all.packets;
  all.steps_back = std::max(all.steps_back, all.last_time - event.time);
  all.last_time = event.time;
  if (event.kind == EventKind::foreign) ++all.foreign;
  if (event.kind == EventKind::error) ++bus.errors;
  if (event.kind != EventKind::frame) return;
  if (bus.frames++ > 0) bus.longest_gap = std::max(bus.longest_gap, event.time - bus.last_time);
  bus.last_time = event.time;
  bus.outbound += (event.flags & tramlog::kOutbound) != 0;
  if (const auto seed = seeds.find(bus.name); seed != seeds.end()) {
    if (!bus.random) bus.random = std::make_unique<live::RandomFrames>(seed->second);
    bus.random_wrong += !is_same(bus.random->next(), event);
  } else if ((event.flags & tramlog::kExtendedId) != 0) {
    if (const auto number = live::number_of(event.id, event.data, event.len))
      all.numbers[{event.bus, event.id & 0xFFU}].add(*number);
  }
}

/// Packets that libpcap finds, and whether it read to the end of the file without complaint.
bool count_with_pcap(const std::string& path, std::uint64_t& packets) {
  const bool packed = path.size() > 4 && path.ends_with(".zst");
  FILE* file = packed ? popen(("zstd -dcq -- '" + path + "'").c_str(), "r") : std::fopen(path.c_str(), "r");
  if (file == nullptr) return false;
  char message[PCAP_ERRBUF_SIZE] = "";
  pcap_t* capture = pcap_fopen_offline_with_tstamp_precision(file, PCAP_TSTAMP_PRECISION_NANO, message);
  if (capture == nullptr) {
    std::printf("pcap file=%s error=%s\n", path.c_str(), message);
    packed ? pclose(file) : std::fclose(file);
    return false;
  }
  pcap_pkthdr* header = nullptr;
  const u_char* data = nullptr;
  int status = 0;
  while ((status = pcap_next_ex(capture, &header, &data)) == 1) ++packets;
  if (status != PCAP_ERROR_BREAK) std::printf("pcap file=%s error=%s\n", path.c_str(), pcap_geterr(capture));
  pcap_close(capture);  // closes the file, too; a zstd that is done leaves nothing to wait for but itself
  return status == PCAP_ERROR_BREAK;
}

void print(const All& all) {
  const auto wide = [](std::uint64_t number) { return static_cast<unsigned long long>(number); };
  for (const auto& [index, bus] : all.buses) {
    if (bus.name.empty()) continue;
    std::printf(
        "bus=%s frames=%llu outbound=%llu errors=%llu lost=%llu dropped=%llu received=%llu statistics=%llu "
        "ups=%llu downs=%llu "
        "pauses=%llu longest_gap_ms=%.1f random_wrong=%llu\n",
        bus.name.c_str(), wide(bus.frames), wide(bus.outbound), wide(bus.errors), wide(bus.lost),
        wide(bus.dropped), wide(bus.received), wide(bus.statistics), wide(bus.ups), wide(bus.downs),
        wide(bus.pauses), static_cast<double>(bus.longest_gap) / 1e6, wide(bus.random_wrong));
  }
  for (const auto& [key, numbers] : all.numbers)
    std::printf(
        "sender=%s/%02x numbered=%llu first=%u last=%u missing=%llu repeated=%llu disordered=%llu "
        "spoiled=%llu\n",
        all.buses.at(key.first).name.c_str(), key.second, wide(numbers.frames), numbers.first, numbers.last,
        wide(numbers.missing()), wide(numbers.repeated), wide(numbers.disordered), wide(numbers.spoiled));
}

}  // namespace

int main(int argc, char** argv) {
  std::vector<std::string> paths;
  std::vector<std::string> random;
  CLI::App app{"Counts the frames of captures", "live_count"};
  app.add_option("capture", paths)->required();
  app.add_option("--random", random,
                 "BUS=SEED: all frames of this bus are those of live_traffic --random --seed SEED");
  CLI11_PARSE(app, argc, argv);
  std::map<std::string, std::uint64_t> seeds;
  for (const std::string& entry : random) {
    const std::size_t at = entry.find('=');
    if (at == std::string::npos) return 2;
    seeds[entry.substr(0, at)] = std::stoull(entry.substr(at + 1));
  }

  auto source = tramlog::CaptureSource::open(paths);
  if (!source) {
    std::printf("unreadable what=%s where=%s\n", source.error().what.c_str(), source.error().where.c_str());
    return 3;
  }
  All all;
  for (auto events = source->read(); !events.empty(); events = source->read())
    for (const Event& event : events) take(event, all, seeds);
  print(all);

  std::uint64_t unreadable = 0;
  for (const tramlog::CaptureFile& file : source->files())
    unreadable += file.read_error || !file.unreadable.empty();
  std::uint64_t by_pcap = 0;
  std::uint64_t pcap_refuses = 0;
  for (const std::string& path : paths) pcap_refuses += !count_with_pcap(path, by_pcap);
  const auto notes = [&all](tramlog::RecorderNote::Kind kind) {
    const auto found = all.notes.find(static_cast<int>(kind));
    return static_cast<unsigned long long>(found == all.notes.end() ? 0 : found->second);
  };
  using Kind = tramlog::RecorderNote::Kind;
  std::printf(
      "all files=%zu packets=%llu pcap=%llu pcap_refuses=%llu unreadable=%llu damages=%llu "
      "damaged_bytes=%llu foreign=%llu "
      "steps_back_ms=%.3f begins=%llu ends=%llu marks=%llu not_recorded=%llu\n",
      paths.size(), static_cast<unsigned long long>(all.packets), static_cast<unsigned long long>(by_pcap),
      static_cast<unsigned long long>(pcap_refuses), static_cast<unsigned long long>(unreadable),
      static_cast<unsigned long long>(all.damages), static_cast<unsigned long long>(all.damaged_bytes),
      static_cast<unsigned long long>(all.foreign), static_cast<double>(all.steps_back) / 1e6,
      notes(Kind::run_begins), notes(Kind::run_ends), notes(Kind::mark),
      static_cast<unsigned long long>(all.not_recorded));
  return unreadable > 0 || pcap_refuses > 0 ? 1 : 0;
}
