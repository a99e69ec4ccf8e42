// GNSS position data and system time (fact sheet, signals, 3: 129029 with its tail, 126992): the moment of
// the fix, and the reference stations behind the signals.
#include <fmt/format.h>

#include <algorithm>
#include <iterator>

#include "decode/remark_tools.hpp"

namespace tramlog::tellers {

extern const Teller gnss_position;

namespace {

constexpr Pgn kPgnPosition = 0x1F805, kPgnSystemTime = 0x1F010;
constexpr std::uint16_t kLastDay = 65532;         // above it: error or not available
constexpr std::uint32_t kLastTime = 864'010'000;  // 86401 s
constexpr std::size_t kHeadBytes = 43, kStationBytes = 4;

constexpr const char* kSystems[] = {"GPS",    "GLONASS",    "GPS+GLONASS", "GPS+SBAS", "GPS+SBAS+GLONASS",
                                    "Chayka", "integrated", "surveyed",    "Galileo"};

void tell_moment(const std::uint8_t* days_at, const std::uint8_t* time_at, std::vector<Remark>& remarks) {
  const std::uint16_t days = load_le16(days_at);
  const std::uint32_t time = load_le32(time_at);
  std::string text = "no valid date and time";
  if (days <= kLastDay && time <= kLastTime) text = days_and_time_words(days, time) + " UTC";
  remarks.push_back({"moment", std::move(text)});
}

void tell_stations(const Message& message, std::vector<Remark>& remarks) {
  const std::size_t told = message.data[kHeadBytes - 1];
  if (told > 252) return;  // not available: there are no blocks
  const Bytes tail = message.data.subspan(kHeadBytes);
  const std::size_t there = std::min(told, tail.size() / kStationBytes);
  for (std::size_t i = 0; i < std::min(there, kMaxRemarkItems); ++i) {
    const std::uint8_t* b = tail.data() + i * kStationBytes;
    const unsigned type = b[0] & 0x0F;
    const unsigned id = unsigned{b[0]} >> 4 | unsigned{b[1]} << 4;
    const unsigned age = load_le16(b + 2);
    std::string text =
        type < std::size(kSystems) ? std::string(kSystems[type]) : fmt::format("station type {}", type);
    text += id == 0xFFF ? ", station not told" : fmt::format(", station {}", id);
    text += age >= 0xFFFD ? ", age of corrections not available"
                          : fmt::format(", corrections {}.{:02} s old", age / 100, age % 100);
    remarks.push_back({fmt::format("reference station {}", i + 1), std::move(text)});
  }
  if (there > kMaxRemarkItems)
    remarks.push_back({"reference stations", fmt::format("and {} more", there - kMaxRemarkItems)});
  if (there < told)
    remarks.push_back(
        {"malformed", fmt::format("{} reference stations are announced, {} are there", told, there)});
}

void tell(const Message& message, const Schema&, std::vector<Remark>& remarks) {
  const std::uint8_t* b = message.data.data();
  if (message.pgn == kPgnSystemTime) {
    if (message.data.size() < 8) return remark_too_short(remarks, message, 8);
    return tell_moment(b + 2, b + 4, remarks);
  }
  if (message.data.size() < kHeadBytes) return remark_too_short(remarks, message, kHeadBytes);
  tell_moment(b + 1, b + 3, remarks);
  tell_stations(message, remarks);
}

}  // namespace

const Teller gnss_position{{kPgnPosition, kPgnSystemTime}, tell};

}  // namespace tramlog::tellers
