// How much two healthy recordings of one machine differ by themselves: no measured law, but limits chosen
// wide enough that a second look at the same day does not cry, and narrow enough to see a repair. All in one
// place.
#pragma once

namespace tramlog::noise {

// Events (dropouts, faults, activations) are held against each other as rates.
/// Events to be expected in a side that had none, at the other side's rate; below, it was too short to tell.
/// Something new is told early: with equal lengths one event against none counts, against half the length
/// still.
inline constexpr double kLeastExpectedWorse = 0.5;
/// Nothing is called cured by luck: where three were to be expected, none comes by chance in one of twenty
/// recordings (exp(-3) = 0.05).
inline constexpr double kLeastExpectedBetter = 3;
/// Standard deviations of a difference of two counts (Poisson) ..
inline constexpr double kSigmas = 1.5;
/// .. and the ratio of the rates that must be passed, both.
inline constexpr double kRateRatio = 1.5;
/// Share of the time in silence: ratio and percentage points.
inline constexpr double kSilenceRatio = 2, kSilencePoints = 1;
/// Error frames come in bursts: ratio, and at least so many an hour apart.
inline constexpr double kErrorRatio = 2, kErrorsPerHour = 10;

// Bus load, percentage points: what a display page or a task more on the bus makes.
inline constexpr double kMeanLoad = 5, kPeakLoad = 10;
/// Up to here more load is no harm: frames of low priority still come in time.
inline constexpr double kEasyMeanLoad = 50, kEasyPeakLoad = 80;

// Figures of the check-list: the greater of an absolute limit and a share of the greater value. Rates are
// told every 0.1 to 1 s, and no two drives are the same.
struct Limit {
  double absolute, share;
};
inline constexpr Limit kDelayS = {0.3, 0.25};     // s: dead times, rise times, section delays
inline constexpr Limit kOvershootPct = {5, 0.3};  // % of a change
inline constexpr Limit kErrorPct = {1, 0.25};     // % of the range: settled error; totals
inline constexpr Limit kOutsidePct = {10, 0.3};   // % of the time outside the tolerance

/// Recordings are of very different length from here on.
inline constexpr double kLengthRatio = 5;
/// Share of the time in which the recorder was blind that makes a comparison doubtful.
inline constexpr double kBlindShare = 0.01;
/// Share of the controllers of the smaller side that both sides must have to be of one machine.
inline constexpr double kCommonShare = 0.5;

}  // namespace tramlog::noise
