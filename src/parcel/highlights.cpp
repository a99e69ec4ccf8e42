#include "parcel/highlights.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <numeric>
#include <set>
#include <utility>

namespace tramlog {
namespace {

constexpr SpanNs kLongest = 120 * kSecond;  // beyond it begin and end count
constexpr SpanNs kStartUp = 60 * kSecond;

class List {
 public:
  std::vector<Highlight> items;

  void add(TimeNs from, TimeNs to, const std::string& what) {
    to = std::max(from, to);
    if (span_between(from, to) <= kLongest) return put(from, to, what);
    put(from, from, what + ", begin");
    put(to, to, what + ", end");
  }

 private:
  void put(TimeNs from, TimeNs to, const std::string& what) {
    if (items.size() >= kMaxHighlights || !seen_.insert({from, to}).second) return;
    items.push_back({from, to, what});
  }
  std::set<std::pair<TimeNs, TimeNs>> seen_;
};

}  // namespace

std::vector<Highlight> highlights_of(const Conclusions& found) {
  List list;
  const auto add_dropout = [&](std::size_t i) {
    const Dropout& dropout = found.dropouts[i];
    list.add(dropout.start.time, dropout.end ? dropout.end->time : dropout.start.time,
             fmt::format("dropout {}", i + 1));
  };
  const auto add_fault = [&](std::size_t i) {
    const Fault& fault = found.faults[i];
    list.add(fault.start, fault.end.value_or(fault.start), fmt::format("fault {} ({})", i + 1, fault.code));
  };
  for (std::size_t i = 0; i < found.findings.size(); ++i)
    list.add(found.findings[i].start, found.findings[i].start, fmt::format("finding {}", i + 1));
  for (const Finding& finding : found.findings) {
    if (!finding.dropouts.empty()) add_dropout(finding.dropouts.front());
    if (!finding.faults.empty()) add_fault(finding.faults.front());
  }
  for (std::size_t i = 0; i < found.dropouts.size(); ++i) add_dropout(i);
  for (const Severity severity : {Severity::fault, Severity::warning})
    for (std::size_t i = 0; i < found.faults.size(); ++i)
      if (found.faults[i].severity == severity) add_fault(i);
  for (const RecordedNote& noted : found.recorder.notes)
    if (noted.note.kind == RecorderNote::Kind::mark)
      list.add(noted.time, noted.time, "note of the technician");
  list.add(found.start, std::min(found.end, later_by(found.start, kStartUp)), "start-up");
  for (std::size_t i = 0; i < found.faults.size(); ++i)
    if (found.faults[i].severity == Severity::note) add_fault(i);
  return std::move(list.items);
}

Density::Density(TimeNs start, TimeNs end)
    : start_(start),
      end_(end),
      step_(std::max<SpanNs>(kSecond, span_between(start, end) / static_cast<SpanNs>(kMaxSteps - 1) + 1)) {
  frames_.resize(
      static_cast<std::size_t>(std::clamp<SpanNs>(span_between(start, end) / step_ + 1, 1, kMaxSteps)));
}

std::size_t Density::step_of(TimeNs time) const {
  const SpanNs since = span_between(start_, time);
  return since <= 0 ? 0 : std::min(frames_.size() - 1, static_cast<std::size_t>(since / step_));
}

void Density::add(TimeNs time) {
  ++frames_[step_of(time)];
}

void Density::close() {
  std::partial_sum(frames_.begin(), frames_.end(), frames_.begin());
}

std::uint64_t Density::frames_in(TimeNs from, TimeNs to) const {
  const std::size_t first = step_of(from);
  const std::uint64_t frames = frames_[step_of(to)] - (first == 0 ? 0 : frames_[first - 1]);
  const double share = static_cast<double>(span_between(from, to)) / static_cast<double>(step_);
  const auto steps = static_cast<double>(step_of(to) - first + 1);
  return static_cast<std::uint64_t>(static_cast<double>(frames) * std::clamp(share / steps, 0.0, 1.0)) + 1;
}

namespace {

std::vector<SliceSpan> merged(std::span<const Highlight> highlights, const std::vector<SpanNs>& margins) {
  std::vector<SliceSpan> spans;
  for (std::size_t i = 0; i < highlights.size(); ++i)
    if (margins[i] >= 0)
      spans.push_back({later_by(highlights[i].from, -margins[i]), later_by(highlights[i].to, margins[i])});
  std::sort(spans.begin(), spans.end(), [](const SliceSpan& a, const SliceSpan& b) {
    return a.from < b.from || (a.from == b.from && a.to < b.to);
  });
  std::vector<SliceSpan> joined;
  for (const SliceSpan& span : spans)
    if (!joined.empty() && span.from <= later_by(joined.back().to, kSecond))
      joined.back().to = std::max(joined.back().to, span.to);
    else
      joined.push_back(span);
  return joined;
}

std::uint64_t frames_of(const std::vector<SliceSpan>& spans, const Density& density) {
  std::uint64_t frames = 0;
  for (const SliceSpan& span : spans) frames += density.frames_in(span.from, span.to);
  return frames;
}

}  // namespace

HighlightPlan plan_slices(std::span<const Highlight> highlights, const Density& density,
                      std::uint64_t room_frames) {
  HighlightPlan plan;
  plan.margins.assign(highlights.size(), -1);
  for (const SpanNs margin : kMargins)
    for (std::size_t i = 0; i < highlights.size(); ++i) {
      if (margin != kMargins[0] && plan.margins[i] < 0) continue;
      const SpanNs before = std::exchange(plan.margins[i], margin);
      const std::uint64_t frames = frames_of(merged(highlights, plan.margins), density);
      if (frames > room_frames)
        plan.margins[i] = before;
      else
        plan.frames = frames;
    }
  plan.spans = merged(highlights, plan.margins);
  for (SliceSpan& span : plan.spans) {
    span.from = std::max(span.from, density.start());
    span.to = std::min(span.to, density.end());
  }
  std::erase_if(plan.spans, [](const SliceSpan& span) { return span.from > span.to; });
  plan.whole = plan.spans.size() == 1 && plan.spans.front() == SliceSpan{density.start(), density.end()};
  for (const SpanNs margin : plan.margins) {
    plan.left_out += margin < 0;
    plan.shortened += margin >= 0 && margin != kMargins[std::size(kMargins) - 1];
  }
  return plan;
}

}  // namespace tramlog
