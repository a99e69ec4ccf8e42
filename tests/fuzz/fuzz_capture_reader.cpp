// Any bytes as a capture: plain, as from a slow pipe, and unpacked if they look compressed. Beyond not
// crashing, the reader must say the same however the bytes arrive.
#include <cstdint>
#include <cstdlib>
#include <memory>
#include <string>

#include "io/capture_probe.hpp"
#include "io/zstd_source.hpp"

namespace {

using namespace tramlog;

constexpr std::uint64_t kMostEvents = 50'000;  // a few bytes may unpack to very many

struct Seen {
  std::uint64_t events = 0;
  std::uint64_t packets = 0;
  std::uint64_t damaged_bytes = 0;
  std::string fingerprint;
  bool operator==(const Seen&) const = default;
};

void check(bool holds) {
  if (!holds) std::abort();
}

std::unique_ptr<ByteWindow> window_over(Bytes bytes, std::size_t step, std::size_t capacity) {
  std::unique_ptr<ByteSource> source = std::make_unique<MemorySource>(bytes, step);
  if (ZstdSource::begins(bytes)) source = std::make_unique<ZstdSource>(std::move(source));
  return std::make_unique<ByteWindow>(std::move(source), capacity);
}

Seen read_all(Bytes bytes, CaptureFormat format, std::size_t step, std::size_t capacity) {
  BusTable buses;
  CaptureFileReader reader(window_over(bytes, step, capacity), format, buses, 0, 0);
  Seen seen;
  std::uint64_t number = 1;
  volatile std::uint8_t touched = 0;
  while (!reader.ended() && seen.events < kMostEvents) {
    for (const Event& event : reader.read(number)) {
      ++seen.events;
      check(event.time <= kTimeLimit && event.time >= -kTimeLimit);
      if (event.kind == EventKind::notice) {
        check(event.number == 0 && event.notice != nullptr);
        continue;
      }
      check(event.number == number++ && event.len <= 64);
      check(event.bus < buses.size() || event.kind == EventKind::foreign);
      for (unsigned i = 0; i < event.len; ++i) touched = event.data[i];
    }
  }
  (void)touched;
  const ReadTally& tally = reader.parser().tally();
  check(tally.packets + tally.foreign == number - 1);
  seen.packets = tally.packets;
  seen.damaged_bytes = tally.damaged_bytes;
  seen.fingerprint = tally.fingerprint.text();
  return seen;
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  const Bytes bytes(data, size);
  auto window = window_over(bytes, 0, 4096);
  (void)probe_window(*window, "input", false);
  for (const CaptureFormat format : {CaptureFormat::pcapng, CaptureFormat::pcap}) {
    const Seen at_once = read_all(bytes, format, 0, ByteWindow::kCapacity);
    if (at_once.events < kMostEvents) check(read_all(bytes, format, 61, 256) == at_once);
  }
  return 0;
}
