// Captures built byte by byte, so that the tests owe nothing to the writer.
#pragma once

#include <cstdint>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <memory>
#include <string>
#include <vector>

#include "io/capture_file_reader.hpp"
#include "io/capture_reader.hpp"
#include "unit/temp_folder.hpp"

namespace tramlog::test {

inline constexpr TimeNs kT0 = 1'700'000'000'123'456'789;

/// Appends integers in one byte order.
class ByteBuilder {
 public:
  explicit ByteBuilder(bool big) : big_(big) {}

  template <class T>
  ByteBuilder& put(T value) {
    for (std::size_t i = 0; i < sizeof(T); ++i) {
      const std::size_t shift = 8 * (big_ ? sizeof(T) - 1 - i : i);
      bytes.push_back(static_cast<char>(static_cast<std::uint64_t>(value) >> shift & 0xFF));
    }
    return *this;
  }
  ByteBuilder& text(const std::string& value) {
    bytes += value;
    return *this;
  }
  ByteBuilder& pad() {
    while (bytes.size() % 4 != 0) bytes.push_back('\0');
    return *this;
  }
  std::string bytes;

 private:
  bool big_;
};

/// Blocks of one section.
class BlockBuilder {
 public:
  explicit BlockBuilder(bool big = false) : big_(big) {}

  std::string block(std::uint32_t type, const std::string& body) const {
    ByteBuilder whole(big_);
    const auto length = static_cast<std::uint32_t>((body.size() + 3) / 4 * 4 + 12);
    whole.put(type).put(length).text(body).pad().put(length);
    return whole.bytes;
  }
  std::string option(std::uint16_t code, const std::string& value) const {
    ByteBuilder whole(big_);
    return whole.put(code).put(static_cast<std::uint16_t>(value.size())).text(value).pad().bytes;
  }
  template <class T>
  std::string option_of(std::uint16_t code, T value) const {
    return option(code, ByteBuilder(big_).put(value).bytes);
  }
  static std::string ended(const std::string& options) {
    return options.empty() ? options : options + std::string(4, '\0');
  }

  std::string section(std::uint16_t minor = 0, std::int64_t section_length = -1) const {
    return block(0x0A0D0D0A, ByteBuilder(big_)
                                 .put(std::uint32_t{0x1A2B3C4D})
                                 .put(std::uint16_t{1})
                                 .put(minor)
                                 .put(section_length)
                                 .bytes);
  }
  std::string interface(const std::string& options, std::uint16_t link = 227, std::uint32_t snap = 0) const {
    return block(1, ByteBuilder(big_).put(link).put(std::uint16_t{0}).put(snap).text(ended(options)).bytes);
  }
  std::string nanosecond_bus(const std::string& name) const {
    return interface(option(2, name) + option_of(9, std::uint8_t{9}) + option_of(8, std::uint64_t{250'000}));
  }
  std::string packet(std::uint64_t ticks, const std::string& data, std::uint32_t interface = 0,
                     const std::string& options = "", std::uint32_t original = 0) const {
    ByteBuilder body(big_);
    body.put(interface).put(static_cast<std::uint32_t>(ticks >> 32)).put(static_cast<std::uint32_t>(ticks));
    body.put(static_cast<std::uint32_t>(data.size()));
    body.put(original != 0 ? original : static_cast<std::uint32_t>(data.size()));
    return block(6, body.text(data).pad().text(ended(options)).bytes);
  }
  std::string statistics(std::uint64_t ticks, const std::string& options, std::uint32_t interface = 0) const {
    ByteBuilder body(big_);
    body.put(interface).put(static_cast<std::uint32_t>(ticks >> 32)).put(static_cast<std::uint32_t>(ticks));
    return block(5, body.text(ended(options)).bytes);
  }
  std::string obsolete(std::uint64_t ticks, const std::string& data, std::uint16_t interface,
                       std::uint16_t drops) const {
    ByteBuilder body(big_);
    body.put(interface).put(drops);
    body.put(static_cast<std::uint32_t>(ticks >> 32)).put(static_cast<std::uint32_t>(ticks));
    body.put(static_cast<std::uint32_t>(data.size())).put(static_cast<std::uint32_t>(data.size()));
    return block(2, body.text(data).bytes);
  }
  std::string simple(const std::string& data) const {
    return block(3, ByteBuilder(big_).put(static_cast<std::uint32_t>(data.size())).text(data).bytes);
  }

 private:
  bool big_;
};

/// A packet of link type 227; `word` is the identifier with its flag bits.
inline std::string can_packet(std::uint32_t word, const std::string& payload, int len = -1,
                              std::uint8_t fd_flags = 0) {
  ByteBuilder packet(true);
  packet.put(word).put(static_cast<std::uint8_t>(len < 0 ? static_cast<int>(payload.size()) : len));
  return packet.put(fd_flags).put(std::uint16_t{0}).text(payload).bytes;
}

inline std::string pcap_header(bool big, bool nano, std::uint32_t link = 227) {
  ByteBuilder header(big);
  header.put(std::uint32_t{nano ? 0xA1B23C4Du : 0xA1B2C3D4u}).put(std::uint16_t{2}).put(std::uint16_t{4});
  return header.put(std::uint64_t{0}).put(std::uint32_t{65535}).put(link).bytes;
}

inline std::string pcap_record(bool big, std::uint32_t seconds, std::uint32_t fraction,
                               const std::string& data) {
  ByteBuilder record(big);
  record.put(seconds).put(fraction).put(static_cast<std::uint32_t>(data.size()));
  return record.put(static_cast<std::uint32_t>(data.size())).text(data).bytes;
}

inline Bytes as_bytes(const std::string& text) {
  return {reinterpret_cast<const std::uint8_t*>(text.data()), text.size()};
}

/// An event with its own copy of what it points to.
struct SeenEvent {
  Event event;
  std::string data;
  Notice notice;

  bool is_packet() const { return event.kind != EventKind::notice; }
  template <class T>
  const T* as() const {
    return is_packet() ? nullptr : std::get_if<T>(&notice);
  }
};

struct Seen {
  std::vector<SeenEvent> events;
  ReadTally tally;

  void add(const Event& event) {
    SeenEvent seen{event, {}, {}};
    if (event.kind == EventKind::notice)
      seen.notice = *event.notice;
    else if (event.len > 0)
      seen.data.assign(reinterpret_cast<const char*>(event.data), event.len);
    events.push_back(std::move(seen));
  }
  std::vector<SeenEvent> packets() const {
    std::vector<SeenEvent> found;
    for (const SeenEvent& event : events)
      if (event.is_packet()) found.push_back(event);
    return found;
  }
  template <class T>
  std::vector<T> notices() const {
    std::vector<T> found;
    for (const SeenEvent& event : events)
      if (const T* notice = event.as<T>()) found.push_back(*notice);
    return found;
  }
};

/// Reads bytes through the parser alone. `step` > 0: in pieces of that size.
inline Seen read_bytes(const std::string& bytes, CaptureFormat format = CaptureFormat::pcapng,
                       std::size_t step = 0, std::size_t window = 4096) {
  BusTable buses;
  CaptureFileReader reader(
      std::make_unique<ByteWindow>(std::make_unique<MemorySource>(as_bytes(bytes), step), window), format,
      buses, 0, kT0);
  Seen seen;
  std::uint64_t number = 1;
  while (!reader.ended())
    for (const Event& event : reader.read(number)) {
      if (event.number != 0) number = event.number + 1;
      seen.add(event);
    }
  seen.tally = reader.parser().tally();
  return seen;
}

/// Reads a whole source.
inline Seen read_source(CaptureSource& source) {
  Seen seen;
  for (auto events = source.read(); !events.empty(); events = source.read())
    for (const Event& event : events) seen.add(event);
  return seen;
}

using TemporaryFolder = TempFolder;

}  // namespace tramlog::test
