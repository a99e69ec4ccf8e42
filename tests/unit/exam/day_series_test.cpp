// What pictures are drawn from: bits of frames, voltages, hours and place as they stand in bytes on the bus.
#include <cmath>

#include "can/wire_bits.hpp"
#include "unit/exam/check_bench.hpp"

using namespace tramlog;

namespace {

void volts(ExamBench& b, double seconds, Address source, unsigned raw) {
  b.frame(seconds, make_id(6, 0xFEF7, source),
          {0xFF, 0xFF, 0xFF, 0xFF, static_cast<std::uint8_t>(raw), static_cast<std::uint8_t>(raw >> 8), 0xFF,
           0xFF});
}

std::size_t step_at(const DaySeries& series, TimeNs time) {
  return static_cast<std::size_t>((time - series.start) / series.step);
}

}  // namespace

TEST_CASE("Loads second by second, and none where nothing came") {
  ExamBench b;
  // 100 equal frames in the third second, 200 in the fourth; the bus begins with one frame at 0.
  const std::vector<std::uint8_t> payload(8, 0x5A);
  b.frame(0, make_id(6, 0xFF10, 0x80), payload);
  for (int i = 0; i < 100; ++i) b.frame(2.001 + i * 0.009, make_id(6, 0xFF10, 0x80), payload);
  for (int i = 0; i < 200; ++i) b.frame(3.001 + i * 0.004, make_id(6, 0xFF10, 0x80), payload);
  b.frame(5.5, make_id(6, 0xFF10, 0x80), payload);
  const Conclusions all = b.conclude();
  const auto events = b.events();
  const double bits = wire_bits(events[0]);
  const DaySeries& series = all.series;
  REQUIRE(series.step == kSecond);
  REQUIRE(series.loads.size() == 1);
  const auto mean = [&](double seconds) {
    return series.loads[0].mean_pct[step_at(series, ExamBench::at(seconds))];
  };
  CHECK(std::abs(mean(0) - 100 * bits / 250000) < 1e-4);
  CHECK(mean(1) == 0);
  CHECK(std::abs(mean(2) - 100 * 100 * bits / 250000) < 1e-3);
  CHECK(std::abs(mean(3) - 200 * 100 * bits / 250000) < 1e-3);
  CHECK(mean(4) == 0);
  CHECK(std::isnan(mean(5.5)));  // not a whole second
  CHECK(series.loads[0].peak_pct[step_at(series, ExamBench::at(3))] == mean(3));
}

TEST_CASE("Voltages of each who tells one") {
  ExamBench b = two_talkers(20);
  volts(b, 5.2, 0x80, 276);  // 13.8 V
  volts(b, 5.8, 0x80, 190);  // 9.5 V
  volts(b, 6.2, 0x81, 278);
  volts(b, 7, 0x81, 0xFFFF);  // not available
  const Conclusions all = b.conclude();
  const DaySeries& series = all.series;
  REQUIRE(series.voltages.size() == 2);
  const VoltageSeries& first = series.voltages[0];
  REQUIRE(first.controller);
  CHECK(all.controllers[*first.controller].name == kFirstUnit);
  const std::size_t step = step_at(series, ExamBench::at(5.2));
  CHECK(std::abs(first.least_v[step] - 9.5) < 1e-4);
  CHECK(std::abs(first.greatest_v[step] - 13.8) < 1e-4);
  CHECK(std::isnan(first.least_v[step + 1]));
  CHECK(std::abs(series.voltages[1].least_v[step + 1] - 13.9) < 1e-4);
  CHECK(std::isnan(series.voltages[1].least_v[step + 2]));
}

TEST_CASE("A long day is drawn in at most 480 steps, with its shortest low in it") {
  ExamBench b;
  b.claim(0, kFirstUnit, 0x80);
  for (int minute = 0; minute < 600; ++minute) volts(b, 1 + minute * 60, 0x80, minute == 300 ? 160 : 276);
  const Conclusions all = b.conclude();
  const DaySeries& series = all.series;
  CHECK(series.steps <= 480);
  CHECK(series.step == 128 * kSecond);  // 36,000 s / 128 s = 281
  REQUIRE(series.voltages.size() == 1);
  CHECK(std::abs(series.voltages[0].least_v[step_at(series, ExamBench::at(1 + 300 * 60))] - 8.0) < 1e-4);
}

TEST_CASE("Engine hours and the first place") {
  ExamBench b = two_talkers(10);
  // SPN 247: 24087 = 0x5E17, 0.05 h a bit: 1204.35 h; then 1204.40 h.
  b.frame(3, make_id(6, 0xFEE5, 0x80), {0x17, 0x5E, 0, 0, 0xFF, 0xFF, 0xFF, 0xFF});
  b.frame(9, make_id(6, 0xFEE5, 0x80), {0x18, 0x5E, 0, 0, 0xFF, 0xFF, 0xFF, 0xFF});
  b.frame(9.5, make_id(6, 0xFEE5, 0x80), ExamBench::Payload(8, 0xFF));
  // A receiver that has no fix yet says zero; then 52 N (0x1EFE9200), 4.5 W (0xFD515AC0), then elsewhere.
  b.frame(2, make_id(2, 129025, 0x81), ExamBench::Payload(8, 0));
  b.frame(4, make_id(2, 129025, 0x81), {0x00, 0x92, 0xFE, 0x1E, 0xC0, 0x5A, 0x51, 0xFD});
  b.frame(5, make_id(2, 129025, 0x81), {0x00, 0x92, 0xFE, 0x1F, 0xC0, 0x5A, 0x51, 0xFD});
  const Conclusions all = b.conclude();
  REQUIRE(all.machine.hours_first);
  CHECK(std::abs(*all.machine.hours_first - 1204.35) < 1e-9);
  CHECK(std::abs(*all.machine.hours_last - 1204.40) < 1e-9);
  REQUIRE(all.machine.place);
  CHECK(std::abs(all.machine.place->latitude_deg - 52) < 1e-9);
  CHECK(std::abs(all.machine.place->longitude_deg + 4.5) < 1e-9);
  CHECK_FALSE(two_talkers(10).conclude().machine.hours_first);
}
