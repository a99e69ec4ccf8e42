// Segments as the recorder leaves them, for the tests of the recording on disk.
#pragma once

#include <unistd.h>

#include <algorithm>
#include <catch2/catch.hpp>
#include <cstdint>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <iterator>
#include <string>
#include <vector>

#include "io/capture_reader.hpp"
#include "io/capture_writer.hpp"
#include "record/segment_name.hpp"
#include "unit/temp_folder.hpp"

namespace tramlog::test {

namespace fs = std::filesystem;

/// 2026-11-26T03:15:00Z, a whole second.
inline constexpr TimeNs kStart = 1'795'662'900 * kSecond;

class Folder : public TempFolder {
 public:
  /// The lock and the state file of the folder left out.
  std::vector<std::string> names() const {
    auto found = TempFolder::names();
    std::erase_if(found, [](const std::string& name) { return name == "lock" || name == "last-run"; });
    return found;
  }
};

inline std::string name_of(std::uint32_t run, std::uint32_t segment, bool compressed = false,
                           TimeNs start = kStart) {
  return segment_name({run, segment, start, compressed});
}

struct SegmentPlan {
  std::uint32_t run = 1;
  TimeNs start = kStart;
  unsigned frames = 100;  // one a millisecond, payload from a simple generator
  bool run_ends = false;
};

/// Note, two buses, frames, statistics at the end, and the note that the run ends.
inline void write_segment(const std::string& path, const SegmentPlan& plan = {}) {
  auto writer = CaptureWriter::create(path);
  REQUIRE(writer.ok());
  RecorderNote begins;
  begins.kind = RecorderNote::Kind::run_begins;
  begins.number = plan.run;
  writer->write_note(0, plan.start, begins);
  writer->add_bus({"can0", 250'000});
  writer->add_bus({"can1", 250'000});
  std::uint32_t random = plan.run * 2654435761u + 12345;
  for (unsigned i = 0; i < plan.frames; ++i) {
    std::uint8_t payload[8];
    for (std::uint8_t& byte : payload)
      byte = static_cast<std::uint8_t>((random = random * 1664525u + 1013904223u) >> 24);
    Event frame;
    frame.time = plan.start + i * kMillisecond;
    frame.bus = static_cast<BusIndex>(i % 2);
    frame.id = 0x18FEF100u + i % 7;
    frame.flags = kExtendedId;
    frame.data = payload;
    frame.len = 8;
    writer->write_frame(frame);
  }
  const TimeNs end = plan.start + plan.frames * kMillisecond;
  Counters counters;
  counters.received = plan.frames;
  writer->write_counters(0, end, counters);
  if (plan.run_ends) {
    RecorderNote ends;
    ends.kind = RecorderNote::Kind::run_ends;
    writer->write_note(0, end + 5, ends);
  }
  REQUIRE(writer->finish().ok());
}

inline std::string segment_bytes(const SegmentPlan& plan = {}) {
  const Folder folder;
  write_segment(folder.path("capture"), plan);
  return folder.read("capture");
}

/// Offsets at which a block of these little-endian bytes begins, and the end.
inline std::vector<std::size_t> block_starts(const std::string& bytes) {
  std::vector<std::size_t> starts;
  std::size_t at = 0;
  while (at < bytes.size()) {
    starts.push_back(at);
    std::uint32_t length = 0;
    for (unsigned i = 0; i < 4; ++i)
      length |= std::uint32_t{static_cast<std::uint8_t>(bytes[at + 4 + i])} << 8 * i;
    REQUIRE(length >= 12);
    at += length;
  }
  starts.push_back(at);
  return starts;
}

struct ReadBack {
  std::string fingerprint;
  std::uint64_t packets = 0, damaged = 0, events = 0;
};

inline ReadBack read_back(const std::string& path) {
  auto source = CaptureSource::open({path});
  REQUIRE(source.ok());
  ReadBack back;
  for (auto events = source->read(); !events.empty(); events = source->read()) back.events += events.size();
  back.fingerprint = source->files()[0].fingerprint;
  back.packets = source->files()[0].packets;
  back.damaged = source->files()[0].damaged_bytes;
  return back;
}

}  // namespace tramlog::test
