#include <fmt/format.h>

#include <algorithm>

#include "exam/check_tools.hpp"

namespace tramlog::checks {

extern const Check jitter_grown;

namespace {

constexpr std::size_t kNamed = 4;

void judge(const Conclusions& all, const Observations& seen, std::vector<Fault>& faults) {
  for (std::size_t b = 0; b < seen.buses.size(); ++b) {
    std::vector<const JitterGrowth*> grown;
    for (const JitterGrowth& one : seen.jitters)
      if (one.bus == b) grown.push_back(&one);
    if (grown.empty()) continue;
    // The worst first: late by the most of its own gaps.
    std::stable_sort(grown.begin(), grown.end(), [](const JitterGrowth* x, const JitterGrowth* y) {
      return static_cast<double>(x->now) / static_cast<double>(x->before) >
             static_cast<double>(y->now) / static_cast<double>(y->before);
    });
    Fault fault;
    fault.code = jitter_grown.code;
    fault.severity = Severity::warning;
    fault.bus = static_cast<BusIndex>(b);
    fault.start = grown.front()->from.time;
    fault.end = grown.front()->until.time;
    std::string words;
    for (std::size_t i = 0; i < grown.size(); ++i) {
      const JitterGrowth& one = *grown[i];
      fault.start = std::min(fault.start, one.from.time);
      fault.end = std::max(*fault.end, one.until.time);
      add_once(fault.controllers, one.controller);
      if (i >= kNamed) continue;
      words +=
          fmt::format("{}{}, PGN {}, about every {}: one gap in twenty was over {} before, over {} then",
                      i > 0 ? "; " : "", voice_words(all, one.controller, one.source), pgn_words(one.pgn),
                      format_span(one.usual), format_span(one.before), format_span(one.now));
      fault.evidence.push_back({one.from, "found out, over the latest 256 gaps or so"});
    }
    fault.text =
        fmt::format("{} on {} came far less regularly than before: {}{}.",
                    counted(grown.size(), "cyclic message", "cyclic messages"), all.buses[b].name, words,
                    grown.size() > kNamed ? fmt::format("; and {} more", grown.size() - kNamed) : "");
    faults.push_back(std::move(fault));
  }
}

}  // namespace

const Check jitter_grown{"message.jitter-grown",
                         "The gaps of a cyclic message spread far more than before, and towards late: one in "
                         "twenty is twice the longest of "
                         "twenty before. Measured over blocks of 256 gaps, in quarter octaves.",
                         judge};

}  // namespace tramlog::checks
