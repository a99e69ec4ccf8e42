#include "implement/dialogue_lines.hpp"

#include <fmt/format.h>

#include <algorithm>

#include "implement/line_tools.hpp"

namespace tramlog {
namespace {

std::string times_words(std::uint64_t count) {
  return count == 1 ? "once" : fmt::format("{} times", count);
}

/// As the beginning of a sentence.
std::string sentence(std::string text) {
  if (!text.empty() && text[0] >= 'a' && text[0] <= 'z') text[0] = static_cast<char>(text[0] - 'a' + 'A');
  return text;
}

std::string and_others(const Cases& cases) {
  return cases.count > 1 ? fmt::format(" ({} such cases in all)", cases.count) : "";
}

Cases joined(const Cases& a, const Cases& b) {
  Cases all = a;
  all.count += b.count;
  all.moments.insert(all.moments.end(), b.moments.begin(), b.moments.end());
  std::stable_sort(all.moments.begin(), all.moments.end(),
                   [](const Moment& x, const Moment& y) { return x.at.time < y.at.time; });
  if (all.moments.size() > kMaxMoments) all.moments.resize(kMaxMoments);
  if (b.first && (!all.first || *b.first < *all.first)) all.first = b.first;
  if (b.last && (!all.last || *b.last > *all.last)) all.last = b.last;
  return all;
}

}  // namespace

void DialogueLines::write() {
  status();
  client();
  task();
  pool_refused();
  pool_broken();
  version();
  refusals();
  answers();
  values();
  declared();
}

CheckLine& DialogueLines::line(const char* code, Verdict verdict, std::string text, const Cases* cases) {
  lines_.push_back(make_line(code, "connection", of_.server(), verdict, std::move(text)));
  CheckLine& made = lines_.back();
  if (cases != nullptr && cases->count > 0) {
    made.moments = cases->moments;
    made.start = cases->first;
    with(made, "count", static_cast<double>(cases->count), 0);
  }
  return made;
}

void DialogueLines::not_shown(const char* code, const std::string& why) {
  line(code, Verdict::not_shown, "Not shown on this bus: " + why + ".");
}

void DialogueLines::status() {
  const Pulse& status = of_.status_;
  const double lost = limit("connection.status_s"), late = limit("connection.status_late_s");
  if (status.count() < 2) {
    const std::string why =
        fmt::format("the {}'s status was not heard while it talked with this client", of_.server());
    not_shown("task-controller.lost", why);
    not_shown("task-controller.status-late", why);
    return;
  }
  if (const Cases& losses = status.losses(); losses.count > 0) {
    with(line("task-controller.lost", Verdict::attention,
              fmt::format("Its status was missing {} for over {}, first after {}; it {}. The client must "
                          "take the connection "
                          "for lost then.",
                          times_words(losses.count), seconds_words(lost), time_of_day(*losses.first),
                          status.lost() ? "did not come back" : "came back"),
              &losses),
         "lost_s", status.lost_s(end_));
  } else {
    with(line("task-controller.lost", Verdict::pass,
              fmt::format("Its status came {} times, the longest pause was {}; limit {}.", status.count(),
                          seconds_words(status.longest_s()), seconds_words(lost))),
         "longest_s", status.longest_s());
  }
  if (status.late().count > 0)
    with(line("task-controller.status-late", Verdict::attention,
              fmt::format("Its status, due every 2 s, came late {}, the longest pause was {}; limit {}.",
                          times_words(status.late().count), seconds_words(status.longest_s()),
                          seconds_words(late)),
              &status.late()),
         "longest_s", status.longest_s());
  else
    with(line("task-controller.status-late", Verdict::pass,
              fmt::format("Its status, due every 2 s, came after {} at the latest; limit {}.",
                          seconds_words(status.longest_s()), seconds_words(late))),
         "longest_s", status.longest_s());
}

void DialogueLines::client() {
  const Pulse& client = of_.client_task_;
  const double lost = limit("connection.client_task_s");
  std::string starts;
  if (of_.client_starts_ > 0)
    starts = fmt::format(" It started again {} in this recording.", times_words(of_.client_starts_));
  const Cases all = joined(client.losses(), of_.dropped_);
  if (all.count > 0) {
    std::string text;
    if (client.losses().count > 0)
      text =
          fmt::format("The client's task message was missing {} for over {}, first after {}; it {}.",
                      times_words(client.losses().count), seconds_words(lost),
                      time_of_day(*client.losses().first), client.lost() ? "did not come back" : "came back");
    if (of_.dropped_.count > 0)
      text += fmt::format(
          "{}The {} dropped the active connection {}, first at {}: it answered that it does not know this "
          "client.",
          text.empty() ? "" : " ", of_.server(), times_words(of_.dropped_.count),
          time_of_day(*of_.dropped_.first));
    with(line("device.client-lost", Verdict::attention, text + starts, &all), "lost_s", client.lost_s(end_));
    return;
  }
  if (client.count() < 2) return not_shown("device.client-lost", "the client's task message was not heard");
  with(line("device.client-lost", Verdict::pass,
            fmt::format("The client's task message came {} times, the longest pause was {}; limit {}.{}",
                        client.count(), seconds_words(client.longest_s()), seconds_words(lost), starts)),
       "longest_s", client.longest_s());
}

void DialogueLines::task() {
  const Cases& apart = of_.out_of_step_;
  if (apart.count > 0) {
    line("device.task-out-of-step", Verdict::attention,
         fmt::format("The client did not follow the task state within {} {}, first at {}.",
                     seconds_words(limit("connection.echo_s")), times_words(apart.count),
                     time_of_day(*apart.first)),
         &apart);
    return;
  }
  if (of_.echoes_ < 2 || of_.status_.count() < 2)
    return not_shown("device.task-out-of-step",
                     "it takes both the status with its task state and the client's task message");
  with(line("device.task-out-of-step", Verdict::pass,
            of_.task_changes_ == 0
                ? std::string("The client tells the same task state; it did not change in this recording.")
                : fmt::format("The client followed the task state through {}.",
                              counted_words(of_.task_changes_, "change", "changes"))),
       "changes", static_cast<double>(of_.task_changes_), 0);
}

void DialogueLines::refusals() {
  const LinkRecord& record = of_.record_;
  if (of_.refusals_.count > 0) {
    line("process-data.refused", Verdict::attention,
         sentence(of_.refusals_.moments.front().text) + and_others(of_.refusals_) + ".", &of_.refusals_);
    return;
  }
  if (record.sets + record.measurements == 0)
    return not_shown("process-data.refused", "no value was set and no measurement was asked for");
  std::string text =
      fmt::format("Nothing was refused: {} and {}.", counted_words(record.sets, "set value", "set values"),
                  counted_words(record.measurements, "measurement command", "measurement commands"));
  if (of_.all_bits_ > 0)
    text += fmt::format(" {} with all error bits set: taken for a defect of the client, not for refusals.",
                        counted_words(of_.all_bits_, "acknowledgement came", "acknowledgements came"));
  line("process-data.refused", Verdict::pass, std::move(text));
}

void DialogueLines::answers() {
  const LinkRecord& record = of_.record_;
  if (of_.unanswered_.count > 0) {
    line("process-data.unanswered", Verdict::attention,
         fmt::format("{} within {}; first at {}: {}.",
                     counted_words(of_.unanswered_.count, "request stayed without an answer",
                                   "requests stayed without an answer"),
                     seconds_words(limit("connection.answer_s")), time_of_day(*of_.unanswered_.first),
                     of_.unanswered_.moments.front().text),
         &of_.unanswered_);
    return;
  }
  if (record.requests == 0) return not_shown("process-data.unanswered", "no value was asked for");
  if (record.answers == 0)
    return not_shown(
        "process-data.unanswered",
        of_.unjudged_ > 0
            ? "values were asked for, but no task message of the client tells whether it was connected"
            : "what was asked for was refused, brings no value, or was open when the recording ended");
  with(line("process-data.unanswered", Verdict::pass,
            fmt::format("{} by a value, and none stayed without an answer{}.",
                        counted_words(record.answers, "request was answered", "requests were answered"),
                        of_.unjudged_ > 0
                            ? fmt::format(" while the connection stood ({} outside it)", of_.unjudged_)
                            : "")),
       "answers", static_cast<double>(record.answers), 0);
}

void DialogueLines::values() {
  if (of_.missing_.count > 0) {
    line("process-data.value-missing", Verdict::attention,
         sentence(of_.missing_.moments.front().text) + and_others(of_.missing_) + ".", &of_.missing_);
    return;
  }
  if (of_.setups_.watched() == 0)
    return not_shown("process-data.value-missing", "no value was asked for by a time interval");
  with(line("process-data.value-missing", Verdict::pass,
            fmt::format("{} by time, and none stayed away.",
                        counted_words(of_.setups_.watched(), "value came that was asked for",
                                      "values came that were asked for"))),
       "values", static_cast<double>(of_.setups_.watched()), 0);
}

void DialogueLines::declared() {
  const LinkRecord& record = of_.record_;
  const std::uint64_t commands = record.sets + record.requests + record.measurements;
  if (of_.device_.pool.empty()) return not_shown("process-data.undeclared", "the description is not known");
  if (commands == 0) return not_shown("process-data.undeclared", "nothing was asked for or set");
  const Cases& cases = of_.undeclared_;
  if (cases.count > 0 && !of_.desk_.dependable()) {
    line("process-data.undeclared", Verdict::not_shown,
         fmt::format("Not shown on this bus: {} not in the description, but that was not read whole or is "
                     "known by its NAME "
                     "alone, and may be another one.",
                     counted_words(cases.count, "command is", "commands are")),
         &cases);
    return;
  }
  if (cases.count > 0) {
    line("process-data.undeclared", Verdict::attention,
         fmt::format("The {} uses what the description does not have: {}{}. It may work with an old copy of "
                     "the description.",
                     of_.server(), cases.moments.front().text, and_others(cases)),
         &cases);
    return;
  }
  std::string text = "Everything that was asked for and set is in the description.";
  if (of_.beyond_ > 0)
    text += fmt::format(" {} beyond its settable properties and trigger methods.",
                        counted_words(of_.beyond_, "command went", "commands went"));
  with(line("process-data.undeclared", Verdict::pass, std::move(text)), "commands",
       static_cast<double>(commands), 0);
}

LinkRecord Dialogue::conclude(TimeNs end, std::vector<CheckLine>& lines) const {
  DialogueLines(*this, end, lines).write();
  return record_;
}

}  // namespace tramlog
