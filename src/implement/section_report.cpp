#include "implement/section_report.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <limits>

namespace tramlog {
namespace {

/// So many delays must agree before those count during which the boom's work state changed too.
constexpr std::size_t kEnoughShared = 3;

std::optional<std::int32_t> small(const std::optional<std::int64_t>& value) {
  if (!value || *value < std::numeric_limits<std::int32_t>::min() ||
      *value > std::numeric_limits<std::int32_t>::max())
    return std::nullopt;
  return static_cast<std::int32_t>(*value);
}

std::optional<JudgedDelays> judged(const DelayTally& tally, bool from_master) {
  if (tally.count() == 0) return std::nullopt;
  JudgedDelays delays;
  delays.values = tally.values();
  delays.count = tally.count();
  delays.spread = *spread_of(delays.values);
  delays.spread.greatest = tally.worst_s();
  delays.worst_at = tally.worst_at();
  delays.first_late = tally.first_late();
  delays.from_master = from_master;
  return delays;
}

// A boom whose work state only follows its sections was no master in between; else the section answered when
// both were on. A few that agree with each other are needed: an operator does not lower the machine with the
// same delay each time.
std::optional<JudgedDelays> delays_of(const DelayTally& clean, const DelayTally& shared,
                                      const DelayTally* ready, bool work_state_follows, double spread_s) {
  if (clean.count() > 0) {
    auto delays = judged(clean, false);
    if (!work_state_follows || shared.count() == 0) return delays;
    // Those that fit to the others count too.
    for (const double one : shared.values())
      if (one >= delays->spread.least - spread_s && one <= delays->spread.greatest + spread_s) {
        delays->values.push_back(one);
        ++delays->count;
      }
    const double worst_s = delays->spread.greatest;
    delays->spread = *spread_of(delays->values);
    delays->spread.greatest = worst_s;
    return delays;
  }
  if (!work_state_follows) return ready != nullptr ? judged(*ready, true) : std::nullopt;
  const auto delays = judged(shared, false);
  if (!delays || delays->values.size() < kEnoughShared || delays->spread.width90 > spread_s)
    return std::nullopt;
  return delays;
}

SectionRecord::Delays record_delays(const std::optional<JudgedDelays>& delays) {
  if (!delays) return {};
  return {delays->count, delays->spread.median, delays->spread.width90, delays->spread.greatest};
}

}  // namespace

std::vector<SectionReport> section_reports(const Device& device, const std::vector<const SectionBoom*>& booms,
                                           TimeNs end) {
  const Layout layout = layout_of(device);
  const double spread_s = device.limits["section.spread_s"];
  std::size_t with_sections = 0;
  std::vector<SectionReport> all;
  for (const BoomPlace& place : layout.booms) {
    const auto found = std::find_if(booms.begin(), booms.end(),
                                    [&](const SectionBoom* one) { return one->element() == place.element; });
    const SectionBoom* boom = found == booms.end() ? nullptr : *found;
    std::vector<SectionReport> own;
    for (const SectionPlace& section : place.sections) {
      SectionReport report;
      report.place = section;
      own.push_back(std::move(report));
    }
    const auto take = [&](SectionReport& report, const SectionTrack& track) {
      report.tally = track.concluded(end);
      report.doubt_s = boom->message_period_s().value_or(0);
      const bool follows = boom->work_state_follows();
      report.on =
          delays_of(report.tally.on, report.tally.shared_on, &report.tally.ready_on, follows, spread_s);
      report.off = delays_of(report.tally.off, report.tally.shared_off, nullptr, follows, spread_s);
    };
    if (boom != nullptr) {
      const std::size_t described = own.size();
      std::vector<bool> condensed(described, false);
      for (const auto& [key, track] : boom->tracks()) {
        if (key.single) continue;
        if (key.number < described) {
          take(own[key.number], track);
          condensed[key.number] = own[key.number].tally.told > 0;
          continue;
        }
        // Told, but not described: by its number only.
        SectionReport report;
        report.place.number = key.number + 1;
        take(report, track);
        if (report.tally.told > 0) own.push_back(std::move(report));
      }
      for (std::size_t i = 0; i < described; ++i) {
        const auto single = boom->tracks().find({true, own[i].place.element.value_or(kNoElement)});
        if (!condensed[i] && single != boom->tracks().end()) take(own[i], single->second);
      }
    }
    if (own.empty()) continue;
    if (place.sections.empty()) {
      const std::size_t outer = own.size() / 4;
      for (std::size_t i = 0; i < own.size(); ++i) own[i].place.outer = i < outer || i >= own.size() - outer;
    }
    for (SectionReport& report : own) report.subject = device.words(place.element);
    ++with_sections;
    all.insert(all.end(), std::make_move_iterator(own.begin()), std::make_move_iterator(own.end()));
  }
  for (SectionReport& report : all) {
    const std::string boom = std::move(report.subject);
    report.subject = with_sections > 1 ? fmt::format("section {} of {}", report.place.number, boom)
                                       : fmt::format("section {}", report.place.number);
  }
  return all;
}

SectionRecord record_of(const SectionReport& report) {
  SectionRecord record;
  record.section = report.place.number;
  record.element = report.place.element;
  record.subject = report.subject;
  record.x_mm = small(report.place.x_mm);
  record.y_mm = small(report.place.y_mm);
  if (report.place.width) record.width_mm = small(report.place.width->mm);
  record.outer = report.place.outer;
  record.on = record_delays(report.on);
  record.off = record_delays(report.off);
  record.never_on = report.tally.never_on;
  record.never_off = report.tally.never_off;
  record.flickers = report.tally.flickers;
  record.outside_work_s = report.tally.outside_s;
  record.on_s = report.tally.on_s;
  record.error_s = report.tally.error_s;
  record.overridden_s = report.tally.overridden_s;
  record.commanded_series = report.tally.commanded_series;
  record.on_series = report.tally.on_series;
  return record;
}

}  // namespace tramlog
