// Moments one after the other, against the plain formatting.
#include "base/time_text.hpp"

#include <catch2/catch.hpp>
#include <string>

namespace tramlog {

TEST_CASE("moments in any order read as format_rfc3339 writes them") {
  TimeText text;
  char out[TimeText::kChars];
  const TimeNs times[] = {0,
                          1,
                          999'999'999,
                          kSecond,
                          1'775'542'320 * kSecond + 123'456'789,
                          1'775'542'320 * kSecond + 123'456'790,
                          1'775'542'320 * kSecond,
                          1'775'542'319 * kSecond + 999'999'999,
                          -1,
                          -kSecond,
                          -kSecond - 1,
                          INT64_MIN,
                          INT64_MIN + 5,
                          INT64_MAX,
                          INT64_MAX - kSecond,
                          0};
  for (const TimeNs time : times) {
    CAPTURE(time);
    REQUIRE(text.put(out, time) == out + TimeText::kChars);
    CHECK(std::string(out, TimeText::kChars) == format_rfc3339(time));
  }
}

}  // namespace tramlog
