// Time/date, PGN 65254, as one moment (fact sheet, signals, 4: "Time/date reading rules").
#include <fmt/format.h>

#include "decode/remark_tools.hpp"

namespace tramlog::tellers {

extern const Teller time_date;

namespace {

constexpr int kOffsetBias = 125;
constexpr int kOffsetNotGiven = 124;  // physical: the time is UTC, the offset is not given
constexpr int kTimeIsLocal = 125;     // physical: the time itself is local

unsigned days_in_month(int year, unsigned month) {
  constexpr unsigned kDays[] = {31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31};
  const bool leap = (year % 4 == 0 && year % 100 != 0) || year % 400 == 0;
  return month == 2 && leap ? 29 : kDays[month - 1];
}

/// B7 is the local minute, B8 the local hour offset.
std::string base_words(std::uint8_t minutes, std::uint8_t hours) {
  const int hour = int{hours} - kOffsetBias;
  if (hour == kOffsetNotGiven) return " UTC, local offset not given";
  if (hour == kTimeIsLocal) return " local time";
  if (hour < -23 || hour > 23) return ", time base unknown";
  int minute = int{minutes} - kOffsetBias;
  if (minute < -59 || minute > 59) minute = 0;
  const int total = hour * 60 + minute;
  const int size = total < 0 ? -total : total;
  return fmt::format(" UTC, local time is UTC{}{:02}:{:02}", total < 0 ? '-' : '+', size / 60, size % 60);
}

void tell(const Message& message, const Schema&, std::vector<Remark>& remarks) {
  const Bytes b = message.data;
  if (b.size() < 8) return remark_too_short(remarks, message, 8);
  const bool clock = b[0] <= 239 && b[1] <= 59 && b[2] <= 23;
  const int year = 1985 + b[5];
  const unsigned month = b[3];
  const unsigned day = (b[4] + 3u) / 4;
  const bool calendar =
      b[5] <= 250 && month >= 1 && month <= 12 && day >= 1 && day <= days_in_month(year, month);
  if (!clock && !calendar) {
    remarks.push_back({"moment", "no valid date and time"});
    return;
  }
  std::string text = calendar ? fmt::format("{:04}-{:02}-{:02}", year, month, day) : "no valid date,";
  text += clock ? fmt::format(" {:02}:{:02}:{:02}.{:02}", b[2], b[1], b[0] / 4, b[0] % 4 * 25)
                : ", no valid time of day";
  if (clock) text += base_words(b[6], b[7]);
  remarks.push_back({"moment", std::move(text)});
}

}  // namespace

const Teller time_date{{0xFEE6}, tell, true};

}  // namespace tramlog::tellers
