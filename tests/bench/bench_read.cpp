// How long the reader alone takes to hand over every event of a capture.
#include <chrono>
#include <cstdint>
#include <cstdio>

#include "io/capture_reader.hpp"

int main(int argc, char** argv) {
  if (argc != 2) {
    std::fprintf(stderr, "bench_read FILE\n");
    return 2;
  }
  const auto begin = std::chrono::steady_clock::now();
  auto source = tramlog::CaptureSource::open({argv[1]});
  if (!source) {
    const tramlog::Error& error = source.error();
    std::fprintf(stderr, "bench_read: %s : %s : %s\n", error.what.c_str(), error.where.c_str(),
                 error.remedy.c_str());
    return 3;
  }
  std::uint64_t frames = 0;
  for (auto events = source->read(); !events.empty(); events = source->read())
    for (const tramlog::Event& event : events) frames += event.number != 0;
  const double seconds = std::chrono::duration<double>(std::chrono::steady_clock::now() - begin).count();
  std::printf("%llu frames %.4f s %.0f frames/s %.2f ns/frame fingerprint %s\n",
              static_cast<unsigned long long>(frames), seconds, static_cast<double>(frames) / seconds,
              seconds * 1e9 / static_cast<double>(frames), source->files().front().fingerprint.c_str());
  return 0;
}
