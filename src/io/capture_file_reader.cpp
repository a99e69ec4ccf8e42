#include "io/capture_file_reader.hpp"

#include <utility>

namespace tramlog {

CaptureFileReader::CaptureFileReader(std::unique_ptr<ByteWindow> window, CaptureFormat format,
                                     BusTable& buses, std::uint32_t file, TimeNs start)
    : window_(std::move(window)) {
  if (format == CaptureFormat::pcapng)
    common_ = &pcapng_.emplace(*window_, buses, file, start);
  else
    common_ = &pcap_.emplace(*window_, buses, file, start);
}

std::span<const Event> CaptureFileReader::read(std::uint64_t next_number) {
  batch_.clear(next_number);
  if (!ended_) ended_ = !(pcapng_ ? pcapng_->fill(batch_) : pcap_->fill(batch_));
  return batch_.events();
}

}  // namespace tramlog
