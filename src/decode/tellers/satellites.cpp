// GNSS satellites in view, PGN 129540 (fact sheet, signals, 3): one line a satellite.
#include <fmt/format.h>

#include <algorithm>
#include <iterator>

#include "decode/remark_tools.hpp"

namespace tramlog::tellers {

extern const Teller satellites;

namespace {

constexpr std::size_t kHeadBytes = 3, kSatelliteBytes = 12;
constexpr double kDegreesPerRadian = 57.29577951308232;

constexpr const char* kUsage[] = {"not tracked",
                                  "tracked, not used",
                                  "used",
                                  "corrections available, not tracked",
                                  "tracked with corrections",
                                  "used with corrections"};

std::string satellite_words(const std::uint8_t* b) {
  std::string text;
  const auto add = [&](std::string&& part) { text += (text.empty() ? "" : ", ") + part; };
  const unsigned usage = b[11] & 0x0F;
  if (usage < std::size(kUsage))
    add(kUsage[usage]);
  else
    add(usage == 15 ? std::string("use not told") : fmt::format("use code {}", usage));
  const auto elevation = static_cast<std::int16_t>(load_le16(b + 1));
  const std::uint16_t azimuth = load_le16(b + 3);
  const auto snr = static_cast<std::int16_t>(load_le16(b + 5));
  const auto residual = static_cast<std::int32_t>(load_le32(b + 7));
  if (elevation < 0x7FFD) add(fmt::format("elevation {:.1f} deg", elevation * 1e-4 * kDegreesPerRadian));
  if (azimuth < 0xFFFD) add(fmt::format("azimuth {:.1f} deg", azimuth * 1e-4 * kDegreesPerRadian));
  if (snr < 0x7FFD) add(fmt::format("signal {:.2f} dB", snr * 0.01));
  if (residual < 0x7FFFFFFD) add(fmt::format("range residual {:.5f} m", residual * 1e-5));
  return text;
}

void tell(const Message& message, const Schema&, std::vector<Remark>& remarks) {
  if (message.data.size() < kHeadBytes) return remark_too_short(remarks, message, kHeadBytes);
  const std::size_t told = message.data[2];
  if (told > 252) return;  // not available
  const Bytes tail = message.data.subspan(kHeadBytes);
  const std::size_t there = std::min(told, tail.size() / kSatelliteBytes);
  for (std::size_t i = 0; i < std::min(there, kMaxRemarkItems); ++i) {
    const std::uint8_t* b = tail.data() + i * kSatelliteBytes;
    remarks.push_back({fmt::format("satellite {}", b[0]), satellite_words(b)});
  }
  if (there > kMaxRemarkItems)
    remarks.push_back({"satellites", fmt::format("and {} more", there - kMaxRemarkItems)});
  if (there < told)
    remarks.push_back({"malformed", fmt::format("{} satellites are announced, {} are there", told, there)});
}

}  // namespace

const Teller satellites{{0x1FA04}, tell};

}  // namespace tramlog::tellers
