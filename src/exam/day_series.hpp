// What pictures of a whole recording are drawn from: bus load, supply voltage, rates and sections over the
// same equal steps of time, and what the bus told of the machine itself. Plain data, bounded
// (base/step_series.hpp).
#pragma once

#include <cstddef>
#include <optional>
#include <string>
#include <vector>

#include "can/can_id.hpp"
#include "can/event.hpp"

namespace tramlog {

// Every vector has DaySeries::steps values, one a step; NaN: nothing was told or heard in that step.

/// Stuffed bits on the wire / bits that the time could hold, as in BusSummary.
struct LoadSeries {
  BusIndex bus = 0;
  std::vector<float> mean_pct, peak_pct;  // peak: the highest second
};

/// Battery potential, power input 1 (SPN 168), as one controller tells it.
struct VoltageSeries {
  std::optional<std::size_t> controller;  // index into Conclusions::controllers; none: never claimed
  Address address = 0;
  BusIndex bus = 0;
  std::vector<float> least_v, greatest_v;
};

/// Set and delivered quantity of pair `pair` of implement `implement` (SeedingRecord), mean over the step.
struct RateSeries {
  std::size_t implement = 0, pair = 0;
  std::string subject, quantity, unit;
  std::vector<float> set, actual;
};

/// Share of the step (0 to 1) in which the section was told to be on, and in which it said that it was.
struct SectionSeries {
  std::size_t implement = 0;
  unsigned section = 0;  // from 1 at the left
  std::string subject;
  std::vector<float> commanded, on;
};

struct DaySeries {
  TimeNs start = 0;  // of the first step
  SpanNs step = 0;
  std::size_t steps = 0;  // 0: nothing to draw
  std::vector<LoadSeries> loads;
  std::vector<VoltageSeries> voltages;
  std::vector<RateSeries> rates;
  std::vector<SectionSeries> sections;
};

/// What the bus told of the machine itself.
struct MachineRecord {
  std::optional<double> hours_first, hours_last;  // engine's total hours of operation (SPN 247)
  struct Place {
    double latitude_deg = 0, longitude_deg = 0;
  };
  std::optional<Place>
      place;  // first valid position (PGN 129025, 129029, 65267); shown only if the user allows it
};

}  // namespace tramlog
