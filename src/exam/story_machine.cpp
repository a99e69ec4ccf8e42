// The story's lines about the machine itself: start-up, connections, work, key, end.
#include <fmt/format.h>

#include <algorithm>
#include <map>
#include <set>

#include "exam/story_parts.hpp"
#include "exam/words.hpp"

namespace tramlog::story {
namespace {

// Units of one machine come within seconds of each other; who comes later than this after the one before
// is late.
constexpr SpanNs kStartsTogether = 10 * kSecond;
// A quiet time that is worth a line.
constexpr SpanNs kQuiet = 2 * kSecond;
// Two buses, or key and traffic, tell one and the same event this close together.
constexpr SpanNs kSameEvent = 10 * kSecond;
// From the first word to a description in use takes seconds; an upload over a busy bus a quarter of a minute.
constexpr SpanNs kLongDialogue = 20 * kSecond;
constexpr std::uint16_t kTotalArea = 116;  // DDI, m2

/// Controllers by the time they were first heard; a unit on two buses counts once.
std::vector<std::size_t> arrivals(const Conclusions& all) {
  std::vector<std::size_t> list;
  std::set<std::uint64_t> known;
  for (std::size_t i = 0; i < all.controllers.size(); ++i) list.push_back(i);
  std::stable_sort(list.begin(), list.end(), [&](std::size_t a, std::size_t b) {
    return all.controllers[a].first_seen.time < all.controllers[b].first_seen.time;
  });
  std::vector<std::size_t> once;
  for (const std::size_t i : list)
    if (known.insert(all.controllers[i].name.raw()).second) once.push_back(i);
  return once;
}

/// It talked before its address claim was heard, or a slice says so: it had been there before.
bool talked_already(const ControllerRecord& c) {
  return c.known_before || (!c.addresses.empty() && c.addresses.front().start > c.first_seen.time);
}

/// The first word on the key tells how it stands, each later one is a turn. Several buses tell the same.
std::vector<KeySwitch> key_turns(const Observations& seen, std::optional<KeySwitch>& stands) {
  std::vector<KeySwitch> turns;
  for (const BusObservations& bus : seen.buses) {
    if (bus.key_changes.empty()) continue;
    if (!stands || bus.key_changes.front().time < stands->time) stands = bus.key_changes.front();
    turns.insert(turns.end(), bus.key_changes.begin() + 1, bus.key_changes.end());
  }
  std::stable_sort(turns.begin(), turns.end(),
                   [](const KeySwitch& a, const KeySwitch& b) { return a.time < b.time; });
  std::vector<KeySwitch> once;
  for (const KeySwitch& turn : turns)
    if (once.empty() || once.back().on != turn.on) once.push_back(turn);
  return once;
}

std::optional<TimeNs> first_word(const Conclusions& all) {
  std::optional<TimeNs> first;
  const auto take = [&](TimeNs time) { first = std::min(first.value_or(time), time); };
  for (const ControllerRecord& c : all.controllers) take(c.first_seen.time);
  for (const UnclaimedRecord& u : all.unclaimed) take(u.first_seen.time);
  return first;
}

}  // namespace

void tell_beginning(Day& day) {
  const Conclusions& all = day.all;
  const std::vector<std::size_t> came = arrivals(all);
  const auto first = first_word(all);
  // With a clock that was put back the earliest time is not the beginning.
  if (first && day.seen.clock_steps.empty() && span_between(all.start, *first) >= kQuiet) {
    Happening& quiet =
        day.add(Phase::quiet, all.start, kStays, "",
                {fmt::format("nobody talks yet, for {}", format_span(span_between(all.start, *first)))});
    quiet.line.until = *first;
  }
  std::size_t running = 0;
  for (const std::size_t i : came) running += talked_already(all.controllers[i]);
  std::size_t nameless = 0;
  for (const UnclaimedRecord& u : all.unclaimed)
    nameless += span_between(all.start, u.first_seen.time) < kCaptureBeginning;
  if (running > 0 || (came.empty() && nameless > 0))
    day.add(Phase::quiet, std::max(all.start, first.value_or(all.start)), kStays, "",
            {fmt::format("{} already when the {} begins",
                         running > 0 ? counted(running, "controller talks", "controllers talk")
                                     : counted(nameless, "address talks", "addresses talk"),
                         is_slice(all) ? "slice" : "recording")});
  std::vector<std::size_t> starting;
  for (const std::size_t i : came)
    if (!talked_already(all.controllers[i])) starting.push_back(i);
  bool begun = running > 0;
  for (std::size_t i = 0; i < starting.size();) {
    const auto at = [&](std::size_t k) { return all.controllers[starting[k]].first_seen.time; };
    std::size_t end = i + 1;
    while (end < starting.size() && span_between(at(end - 1), at(end)) <= kStartsTogether) ++end;
    const std::size_t count = end - i;
    const std::string one = name_of(all, starting[i]), last = name_of(all, starting[end - 1]);
    const SpanNs took = span_between(at(i), at(end - 1));
    Happening& line = day.add(Phase::start_up, at(i), begun ? kLate : kStays, begun ? "late" : "", {});
    if (count > 1) line.line.until = at(end - 1);
    if (count == 1) {
      line.texts = {fmt::format("{} {}", one, begun ? "joins" : "starts")};
    } else if (count == 2) {
      line.texts = {fmt::format("{} and {} {}", one, last, begun ? "join" : "start"),
                    fmt::format("2 controllers {}", begun ? "join" : "start")};
    } else {
      const std::string what =
          fmt::format("{} controllers {} in {}", count, begun ? "join" : "start", format_span(took));
      line.texts = {fmt::format("{}, {} to {}", what, one, last), fmt::format("{}, {} last", what, last),
                    what, fmt::format("{} controllers {}", count, begun ? "join" : "start")};
    }
    begun = true;
    i = end;
  }
}

namespace {

/// When a controller and its partners first talked.
struct Partners {
  std::optional<TimeNs> terminal, task_controller;
  TimeNs greeted = 0;   // the task controller, long before its description was in use
  bool active = false;  // its description is in use
};

}  // namespace

void tell_connections(Day& day) {
  const Conclusions& all = day.all;
  const auto early = [&](TimeNs time) {
    // Who talks from the beginning has been connected before.
    return span_between(all.start, time) < kCaptureBeginning && !all.controllers.empty() &&
           talked_already(all.controllers.front());
  };
  std::map<std::size_t, Partners> clients;
  for (const ImplementRecord& implement : all.seeding.implements) {
    if (implement.client == kNobody) continue;
    for (const LinkRecord& link : implement.links) {
      if (link.data_logger || link.state == DialogueState::announced || early(link.first.time)) continue;
      Partners& partners = clients[static_cast<std::size_t>(implement.client)];
      partners.active = implement.activated;
      partners.greeted = link.first.time;
      partners.task_controller =
          implement.pool_at ? std::max(implement.pool_at->time, link.first.time) : link.first.time;
    }
  }
  for (const ServerRecord& server : day.seen.servers)
    for (const ServerClient& client : server.clients)
      if (server.kind == ServerKind::terminal && client.controller && !early(client.first))
        clients[*client.controller].terminal = client.first;
  for (const auto& [controller, partners] : clients) {
    const std::string who = name_of(all, controller);
    const bool both = partners.terminal && partners.task_controller;
    const bool at_once =
        both && magnitude(span_between(*partners.terminal, *partners.task_controller)) <= kMinute;
    const std::string with = who + (partners.active ? " is connected to" : " talks to");
    if (partners.task_controller && span_between(partners.greeted, *partners.task_controller) > kLongDialogue)
      day.add(Phase::start_up, partners.greeted, kConnection, "task controller",
              {who + " talks to the task controller", "the task controller is connected"});
    if (at_once)
      day.add(Phase::start_up, *partners.task_controller, kConnection, "task controller",
              {with + " terminal and task controller", "the task controller is connected"});
    else if (partners.task_controller)
      day.add(Phase::start_up, *partners.task_controller, kConnection, "task controller",
              {with + " the task controller", "the task controller is connected"});
    if (partners.terminal && !at_once)
      day.add(Phase::start_up, *partners.terminal, kAside, "terminal",
              {who + " talks to the terminal", "the terminal is connected"});
  }
  std::vector<TimeNs> starts;
  for (const BusObservations& bus : day.seen.buses)
    for (const Mark& mark : bus.engine_starts) starts.push_back(mark.time);
  std::sort(starts.begin(), starts.end());
  for (std::size_t i = 0; i < starts.size(); ++i)
    if (i == 0 || span_between(starts[i - 1], starts[i]) > kSameEvent)
      day.add(Phase::start_up, starts[i], kAside, "engine", {"the engine is started"});
}

namespace {

std::string distance_words(double metres) {
  return metres < 1000 ? fmt::format("{:.0f} m", metres) : fmt::format("{:.1f} km", metres / 1000);
}

/// Of all implements' elements the greatest: the device's own total holds those of its parts.
double area_m2(const Conclusions& all) {
  double area = 0;
  for (const ImplementRecord& implement : all.seeding.implements)
    for (const TotalRecord& total : implement.totals)
      if (total.ddi == kTotalArea) area = std::max(area, total.reported.value_or(0));
  return area;
}

void tell_stretches(Day& day, const std::vector<Stretch>& stretches, bool work, double area) {
  for (const Stretch& stretch : stretches) {
    const double seconds = to_seconds(stretch.moving);
    if (seconds <= 0) continue;
    Happening& line =
        day.add(Phase::work, stretch.start, work ? kWork : kDriving, work ? "work" : "driving", {});
    line.line.until = stretch.end;
    line.distance_m = stretch.distance_m;
    const std::string does = work ? "the machine works" : "the machine drives";
    const std::string how =
        fmt::format("{} for {}: {}", does, format_span(stretch.moving), distance_words(stretch.distance_m));
    const std::string fast = fmt::format("{} at {:.1f} km/h", how, stretch.distance_m / seconds * 3.6);
    if (area >= 1 && stretches.size() == 1)
      line.texts.push_back(area < 1000 ? fmt::format("{}, {:.0f} m2", fast, area)
                                       : fmt::format("{}, {:.2f} ha", fast, area / 10'000));
    line.texts.insert(line.texts.end(), {fast, how, does});
  }
}

}  // namespace

void tell_work(Day& day) {
  // Several buses tell of one machine: the one that tells most.
  const ActivityRecord* activity = nullptr;
  const auto told = [](const ActivityRecord& a) {
    SpanNs sum = 0;
    for (const Stretch& stretch : a.driving) sum += stretch.moving;
    for (const Stretch& stretch : a.working) sum += stretch.moving;
    return sum;
  };
  for (const ActivityRecord& one : day.all.seeding.activities)
    if (activity == nullptr || told(one) > told(*activity)) activity = &one;
  if (activity == nullptr) return;
  tell_stretches(day, activity->working, true, area_m2(day.all));
  // Driving that is nearly all work is told as work.
  std::vector<Stretch> ways;
  for (const Stretch& way : activity->driving) {
    SpanNs works = 0;
    for (const Stretch& work : activity->working)
      if (work.start >= way.start && work.start <= way.end) works += work.moving;
    if (works < way.moving / 5 * 4) ways.push_back(way);
  }
  tell_stretches(day, ways, false, 0);
}

namespace {

/// All of a bus went to sleep, one line for all buses.
struct PowerDown {
  TimeNs start = 0;               // last frame
  std::optional<TimeNs> end;      // first frame after
  std::vector<std::size_t> back;  // who came back afterwards
  TimeNs back_until = 0;
};

std::vector<PowerDown> power_downs(const Conclusions& all) {
  std::vector<PowerDown> list;
  std::vector<const BusSilence*> silences;
  for (const BusSilence& silence : all.silences)
    if (silence.verdict == BusSilence::Verdict::power_down) silences.push_back(&silence);
  std::stable_sort(silences.begin(), silences.end(),
                   [](const BusSilence* a, const BusSilence* b) { return a->start.time < b->start.time; });
  for (const BusSilence* silence : silences) {
    const std::optional<TimeNs> end = silence->end ? std::optional(silence->end->time) : std::nullopt;
    if (!list.empty() && span_between(list.back().start, silence->start.time) <= kSameEvent) {
      PowerDown& same = list.back();
      same.start = std::max(same.start, silence->start.time);
      same.end = same.end && end ? std::optional(std::min(*same.end, *end)) : std::nullopt;
    } else {
      list.push_back({silence->start.time, end, {}, 0});
    }
  }
  for (const Dropout& dropout : all.dropouts) {
    if (dropout.kind != DropoutKind::power_down || !dropout.controller || !dropout.end) continue;
    for (PowerDown& down : list)
      if (down.end && dropout.start.time <= down.start && dropout.end->time >= *down.end) {
        down.back.push_back(*dropout.controller);
        down.back_until = std::max(down.back_until, dropout.end->time);
        break;
      }
  }
  return list;
}

}  // namespace

void tell_key(Day& day) {
  const Conclusions& all = day.all;
  std::optional<KeySwitch> stands;
  const std::vector<KeySwitch> turns = key_turns(day.seen, stands);
  const std::vector<PowerDown> downs = power_downs(all);
  std::vector<bool> told(downs.size(), false);
  const std::size_t before = day.moments.size();
  std::optional<std::size_t> last;
  if (stands && !stands->on) day.add(Phase::quiet, stands->time, kKey, "key off", {"the key is off"});
  for (std::size_t i = 0; i < turns.size(); ++i) {
    const KeySwitch& turn = turns[i];
    if (turn.on) {
      const auto back = [&](const PowerDown& down) {
        return down.end && magnitude(span_between(*down.end, turn.time)) <= kSameEvent;
      };
      if (std::none_of(downs.begin(), downs.end(), back))
        day.add(Phase::start_up, turn.time, kKey, "key on", {"the key is switched on"});
      continue;
    }
    const TimeNs on = i + 1 < turns.size() ? turns[i + 1].time : INT64_MAX;
    Happening& line = day.add(Phase::shut_down, turn.time, kKey, "key off", {});
    for (std::size_t d = 0; d < downs.size(); ++d)
      if (!told[d] && downs[d].start >= turn.time && downs[d].start <= on) {
        told[d] = true;
        line.line.until = downs[d].start;
        line.texts = {fmt::format("key off; the last one stops talking {} later",
                                  format_span(span_between(turn.time, downs[d].start)))};
        break;
      }
    line.texts.emplace_back("key off");
    last = day.moments.size() - 1;
  }
  for (std::size_t d = 0; d < downs.size(); ++d) {
    if (!told[d]) {
      day.add(Phase::shut_down, downs[d].start, kKey, "key off",
              {"the machine was switched off: all is quiet"});
      if (!last || day.moments[*last].line.time < downs[d].start) last = day.moments.size() - 1;
    }
    if (!downs[d].end) continue;
    Happening& line = day.add(Phase::start_up, *downs[d].end, kKey, "starts again", {});
    if (downs[d].back.size() > 1) {
      line.line.until = downs[d].back_until;
      line.texts = {fmt::format("the machine starts again: {} controllers in {}", downs[d].back.size(),
                                format_span(span_between(*downs[d].end, downs[d].back_until)))};
    }
    line.texts.emplace_back("the machine starts again");
  }
  if (last) {
    day.moments[*last].importance = kStays;
    day.moments[*last].kind.clear();
    return;
  }
  // Part of the machine went to sleep while another goes on, and no key is on the bus.
  if (day.moments.size() > before) return;
  std::vector<std::size_t> asleep;
  std::optional<TimeNs> first;
  for (const Dropout& dropout : all.dropouts)
    if (dropout.kind == DropoutKind::power_down && dropout.controller) {
      if (std::find(asleep.begin(), asleep.end(), *dropout.controller) == asleep.end())
        asleep.push_back(*dropout.controller);
      first = std::min(first.value_or(dropout.start.time), dropout.start.time);
    }
  if (first)
    day.add(Phase::shut_down, *first, kStays, "", {names_of(all, asleep) + " switched off in good order"});
}

namespace {

/// Not gone at the end, as far as its silence can be judged.
bool is_here(const Conclusions& all, std::size_t controller) {
  return all.controllers[controller].state != ControllerState::refused &&
         std::none_of(all.dropouts.begin(), all.dropouts.end(),
                      [&](const Dropout& d) { return d.controller == controller && !d.end; });
}

}  // namespace

void tell_end(Day& day, std::uint64_t left_out) {
  const Conclusions& all = day.all;
  std::string text = "the recording ends";
  std::vector<std::string> texts;
  std::optional<TimeNs> last;
  for (std::size_t b = 0; b < all.buses.size() && b < day.seen.buses.size(); ++b)
    if (all.buses[b].frames > 0) last = std::max(last.value_or(INT64_MIN), day.seen.buses[b].last_frame.time);
  const std::vector<std::size_t> came = arrivals(all);
  std::size_t here = 0;
  for (const std::size_t i : came)
    for (std::size_t twin = 0; twin < all.controllers.size(); ++twin)
      if (all.controllers[twin].name == all.controllers[i].name && is_here(all, twin)) {
        ++here;
        break;
      }
  const std::string out =
      left_out == 0 ? ""
                    : fmt::format("; {} left out here", counted(left_out, "lesser moment", "lesser moments"));
  if (!last)
    texts.push_back(text + "; it holds no valid frame");
  else if (day.seen.clock_steps.empty() && span_between(*last, all.end) >= kQuiet)
    texts.push_back(
        fmt::format("{}, {} after the last frame{}", text, format_span(span_between(*last, all.end)), out));
  else if (!came.empty())
    texts.push_back(fmt::format(
        "{} with {} on the bus{}", text,
        here == came.size() ? (here == 1 ? "the one controller" : fmt::format("all {} controllers", here))
                            : fmt::format("{} of {} controllers", here, came.size()),
        out));
  texts.push_back(text + out);
  day.add(Phase::end, all.end, kStays, "", std::move(texts));
}

}  // namespace tramlog::story
