#include "implement/speed_choice.hpp"

#include <fmt/format.h>

#include <algorithm>

#include "implement/line_tools.hpp"

namespace tramlog {
namespace {

constexpr const char* kMachineWords[] = {"wheel",     "ground",   "navigation", "blended",
                                         "simulated", "reserved", "reserved",   "not available"};
constexpr const char* kImplementWords[] = {"unknown", "wheel",     "ground",           "navigation",
                                           "blended", "simulated", "machine selected", "machine measured"};
// No two looks lie further apart while anything is on the bus.
constexpr SpanNs kLongestLook = 2 * kSecond;

}  // namespace

/// 0 nothing to drive by, 1 wheel (slips), 2 ground, navigation or blended, 3 what the machine itself chose.
int SpeedChoice::rank(Who who, std::uint32_t code) {
  if (who.address == kMachine) return code == 0 ? 1 : code <= 3 ? 2 : 0;
  return code == 1 ? 1 : code >= 2 && code <= 4 ? 2 : code == 6 || code == 7 ? 3 : 0;
}

std::string SpeedChoice::code_words(Who who, std::uint32_t code) {
  if (who.address == kMachine) return kMachineWords[code & 7];
  return code < std::size(kImplementWords) ? kImplementWords[code]
         : code == 255                     ? "none"
                                           : fmt::format("code {}", code);
}

std::string SpeedChoice::who_words(Who who) {
  if (who.address == kMachine) return "the machine selected speed";
  return fmt::format("the speed of element {} of the implement at address {} (DDI 400)", who.element,
                     who.address);
}

bool SpeedChoice::simulated(Who who, std::uint32_t code) {
  return code == (who.address == kMachine ? 4U : 5U);
}

bool SpeedChoice::is_simulated() const {
  const auto found = tellers_.find({kMachine, 0});
  return found != tellers_.end() && simulated(found->first, found->second.code);
}

void SpeedChoice::add_moment(Mark at, std::string text) {
  if (changes_.size() < kMaxMoments) changes_.push_back({at, std::move(text)});
}

void SpeedChoice::take(Who who, Mark at, std::uint32_t code) {
  const auto found = tellers_.find(who);
  if (found == tellers_.end()) {
    if (tellers_.size() >= kMaxTellers) return;
    tellers_[who].code = code;
    return;
  }
  Teller& teller = found->second;
  if (teller.code == code) return;
  const std::uint32_t before = teller.fell_from.value_or(teller.code);
  add_moment(at, fmt::format("{} from {} to {}", who_words(who), code_words(who, teller.code),
                             code_words(who, code)));
  teller.code = code;
  teller.changed = at;
  if (rank(who, code) < rank(who, before)) {
    teller.fell_from = before;
  } else {
    teller.fell_from.reset();
    teller.fall.good(at.time);
  }
  if (!simulated(who, code)) teller.simulated.good(at.time);
}

void SpeedChoice::look(Mark now, bool driving, bool working, std::optional<SpeedSource> used) {
  if (looked_ && driving) {
    const SpanNs span = span_between(*looked_, now.time);
    if (span > 0 && span <= kLongestLook)
      used_s_[used ? static_cast<std::size_t>(*used) : kSpeedSources] += to_seconds(span);
  }
  looked_ = now.time;
  for (auto& [who, teller] : tellers_) {
    const auto words = [&, &who = who, &teller = teller] {
      return fmt::format("{} is from {} instead of {}", who_words(who), code_words(who, teller.code),
                         code_words(who, teller.fell_from.value_or(teller.code)));
    };
    if (!teller.fell_from) {
    } else if (driving) {
      teller.fall.bad(now.time, teller.changed, kConfirmS, 0, words);
    } else {
      teller.fall.pass_over();
    }
    if (simulated(who, teller.code) && working) {
      teller.simulated.bad(now.time, now, kConfirmS, 0,
                           [&who = who] { return who_words(who) + " is simulated while work is on"; });
    } else {
      teller.simulated.pass_over();
    }
  }
}

std::string SpeedChoice::sentences(TimeNs end, bool& attention) const {
  std::string text;
  const auto add = [&text](std::string sentence) {
    sentence[0] = static_cast<char>(sentence[0] - 'a' + 'A');
    text += (text.empty() ? "" : " ") + sentence;
  };
  for (const auto& [who, teller] : tellers_) {
    for (const Spell* spell : {&teller.fall, &teller.simulated}) {
      if (spell->count() == 0) continue;
      attention = true;
      add(fmt::format("{}, {}, first at {}, for {} at the longest{}.", spell->moments().front().text,
                      counted_words(spell->count(), "time", "times"), time_of_day(spell->first()->time),
                      seconds_words(spell->longest_s(end)),
                      spell->goes_on() ? " (until the recording's end)" : ""));
    }
  }
  double all = 0;
  for (const double part : used_s_) all += part;
  if (all > 0) {
    std::string parts;
    for (std::size_t i = 0; i < used_s_.size(); ++i) {
      const double pct = 100 * used_s_[i] / all;
      if (used_s_[i] == 0) continue;
      parts += fmt::format("{}{} for {:.{}f} %", parts.empty() ? "" : ", ",
                           i < kSpeedSources ? speed_source_term(static_cast<SpeedSource>(i)) : "none", pct,
                           pct > 99.95 || pct < 0.05 ? 0 : 1);
    }
    add(fmt::format("calculated with the {} of {} of driving.", parts, seconds_words(all)));
  }
  std::size_t told = 0;
  for (const auto& [who, teller] : tellers_) {
    if (teller.fall.count() > 0 || ++told > 4) continue;  // the fall-back's sentence has said it
    add(fmt::format("{} is from: {}.", who_words(who), code_words(who, teller.code)));
  }
  return text;
}

std::vector<Moment> SpeedChoice::moments() const {
  std::vector<Moment> all = changes_;
  for (const auto& [who, teller] : tellers_)
    all.insert(all.end(), teller.simulated.moments().begin(), teller.simulated.moments().end());
  std::stable_sort(all.begin(), all.end(),
                   [](const Moment& a, const Moment& b) { return a.at.time < b.at.time; });
  if (all.size() > kMaxMoments) all.resize(kMaxMoments);
  return all;
}

std::optional<TimeNs> SpeedChoice::first_fall() const {
  std::optional<TimeNs> first;
  for (const auto& [who, teller] : tellers_)
    for (const Spell* spell : {&teller.fall, &teller.simulated})
      if (spell->first() && (!first || spell->first()->time < *first)) first = spell->first()->time;
  return first;
}

std::optional<TimeNs> SpeedChoice::last_end() const {
  std::optional<TimeNs> last;
  for (const auto& [who, teller] : tellers_)
    for (const Spell* spell : {&teller.fall, &teller.simulated}) {
      if (spell->goes_on()) return std::nullopt;
      if (spell->end() && (!last || *last < *spell->end())) last = spell->end();
    }
  return last;
}

double SpeedChoice::longest_fall_s(TimeNs end) const {
  double longest = 0;
  for (const auto& [who, teller] : tellers_) longest = std::max(longest, teller.fall.longest_s(end));
  return longest;
}

std::uint64_t SpeedChoice::falls() const {
  std::uint64_t falls = 0;
  for (const auto& [who, teller] : tellers_) falls += teller.fall.count();
  return falls;
}

}  // namespace tramlog
