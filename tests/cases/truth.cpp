#include "cases/truth.hpp"

#include <fmt/format.h>

#include <cmath>
#include <cstdlib>
#include <ctime>
#include <map>
#include <set>

namespace tramlog::cases {
namespace {

using Json = nlohmann::json;

// One message period of the slowest controller that the scenarios judge.
constexpr double kOnePeriodS = 1.0;

double seconds(const Json& time) {
  const auto text = time.get<std::string>();
  std::tm parts{};
  strptime(text.c_str(), "%Y-%m-%dT%H:%M:%S", &parts);
  return static_cast<double>(timegm(&parts)) + std::strtod(("0" + text.substr(19)).c_str(), nullptr);
}

bool near(const Json& a, const Json& b, double tolerance) {
  if (a.is_null() || b.is_null()) return a.is_null() && b.is_null();
  return std::fabs(seconds(a) - seconds(b)) <= tolerance;
}

class Comparison {
 public:
  Comparison(const Json& report, const Json& truth) : report_(report), truth_(truth) {}

  std::vector<std::string> run() {
    blind_ = !truth_["blind"].empty() || !report_["capture"]["damage"].empty();
    controllers();
    dropouts();
    transfers();
    dtcs();
    blind();
    if (!blind_ && report_["capture"]["frames"] != truth_["capture"]["frames"])
      say("frames: {} reported, {} staged", report_["capture"]["frames"].dump(),
          truth_["capture"]["frames"].dump());
    return departures_;
  }

 private:
  template <class... T>
  void say(fmt::format_string<T...> format, T&&... values) {
    departures_.push_back(fmt::format(format, std::forward<T>(values)...));
  }

  void controllers() {
    std::map<std::pair<std::string, std::string>, const Json*> reported;
    for (const Json& c : report_["controllers"]) reported[{c["bus"], c["name"]}] = &c;
    std::map<std::pair<std::string, std::string>, std::vector<const Json*>> staged;
    for (const Json& c : truth_["controllers"])
      if (!c["absent"].get<bool>() && !c["first_seen"].is_null()) staged[{c["bus"], c["name"]}].push_back(&c);
    for (const auto& [key, boxes] : staged) {
      const auto found = reported.find(key);
      if (found == reported.end()) {
        say("controller {} on {} is not reported", key.second, key.first);
        continue;
      }
      const Json& is = *found->second;
      if (boxes.size() > 1) continue;  // two boxes with one NAME cannot be told apart in one record
      const Json& was = *boxes.front();
      if (!was["software_reported_at"].is_null() && is["software"] != was["software"] && !blind_)
        say("{}: software {} reported, {} staged", key.second, is["software"].dump(), was["software"].dump());
      if (is["claims"] != was["claims"] && !blind_)
        say("{}: {} claims reported, {} staged", key.second, is["claims"].dump(), was["claims"].dump());
      if ((is["state"] == "refused") != was["refused"].get<bool>())
        say("{}: state {}, staged refused {}", key.second, is["state"].dump(), was["refused"].dump());
      if (!near(is["first_seen"], was["first_seen"], 0.001) && !blind_)
        say("{}: first seen {}, staged {}", key.second, is["first_seen"].dump(), was["first_seen"].dump());
      // A clock put back shortens the life of whoever does not speak again.
      if (!near(is["last_seen"], was["last_seen"], 0.001) && !blind_ && truth_["clock_steps_s"].empty())
        say("{}: last seen {}, staged {}", key.second, is["last_seen"].dump(), was["last_seen"].dump());
      if (is["addresses"].size() != was["addresses"].size() && !blind_)
        say("{}: {} addresses reported, {} staged", key.second, is["addresses"].dump(),
            was["addresses"].dump());
      else
        for (std::size_t i = 0; i < was["addresses"].size(); ++i)
          if (!blind_ && is["addresses"][i]["address"] != was["addresses"][i]["address"])
            say("{}: address {} reported, {} staged", key.second, is["addresses"][i].dump(),
                was["addresses"][i].dump());
    }
    for (const auto& [key, record] : reported)
      if (!staged.count(key)) say("controller {} on {} was never staged", key.second, key.first);
  }

  void dropouts() {
    std::vector<bool> used(report_["dropouts"].size(), false);
    for (const Json& was : truth_["dropouts"]) {
      // Who is only heard on request or on change cannot be missed; what the recorder did not hear neither.
      if (!was["regular"].get<bool>() || was["overlaps_blind"].get<bool>()) continue;
      bool found = false;
      for (std::size_t i = 0; i < used.size(); ++i) {
        const Json& is = report_["dropouts"][i];
        if (used[i] || is["controller"] != was["controller"] || is["bus"] != was["bus"]) continue;
        if (!near(is["start"], was["start"], kOnePeriodS)) continue;
        used[i] = found = true;
        if (!near(is["end"], was["end"], kOnePeriodS))
          say("dropout of {}: end {} reported, {} staged", was["label"].dump(), is["end"].dump(),
              was["end"].dump());
        if (is["kind"] != was["kind"])
          say("dropout of {} at {}: kind {} reported, {} staged", was["label"].dump(), was["start"].dump(),
              is["kind"].dump(), was["kind"].dump());
        if (is["reclaimed"] != was["reclaimed"])
          say("dropout of {} at {}: reclaimed {} reported, {} staged", was["label"].dump(),
              was["start"].dump(), is["reclaimed"].dump(), was["reclaimed"].dump());
        break;
      }
      if (!found)
        say("dropout of {} at {} ({}) is not reported", was["label"].dump(), was["start"].dump(),
            was["kind"].dump());
    }
    for (std::size_t i = 0; i < used.size(); ++i) {
      if (used[i]) continue;
      // Reported although staged as something that nobody need report.
      bool excused = false;
      for (const Json& was : truth_["dropouts"])
        excused = excused || (was["controller"] == report_["dropouts"][i]["controller"] &&
                              near(was["start"], report_["dropouts"][i]["start"], kOnePeriodS));
      if (!excused) say("dropout that never was: {}", report_["dropouts"][i].dump());
    }
  }

  void transfers() {
    std::map<std::string, std::multiset<std::string>> is;
    std::map<std::string, std::multiset<std::string>> was;
    const auto key = [](const Json& t) {
      return fmt::format("{} {} {}->{} {}", t["start"].get<std::string>().substr(0, 23),
                         t["protocol"].get<std::string>(), t["source"].get<int>(),
                         t["destination"].get<int>(), t["pgn"].get<int>());
    };
    for (const Json& t : report_["transfers"]["failed"])
      is[key(t)].insert(t["outcome"].get<std::string>() + " " + t["abort_reason"].dump());
    for (const Json& t : truth_["transfers"])
      if (t["outcome"] != "complete" && t["outcome"] != "unfinished" && t["frames_unheard"] == 0)
        was[key(t)].insert(t["outcome"].get<std::string>() + " " + t["abort_reason"].dump());
    for (const auto& [k, outcomes] : was)
      if (is[k] != outcomes)
        say("transfer {}: staged {}, reported {}", k, *outcomes.begin(),
            is[k].empty() ? "nothing" : *is[k].begin());
    if (blind_) return;
    for (const auto& [k, outcomes] : is)
      if (!outcomes.empty() && !was.count(k))
        say("transfer {} reported {}, never staged", k, *outcomes.begin());
    for (const auto& [protocol, counts] : truth_["transfer_counts"].items())
      for (const auto& [outcome, count] : counts.items())
        if (report_["transfers"][protocol][outcome] != count)
          say("{} {}: {} reported, {} staged", protocol, outcome,
              report_["transfers"][protocol][outcome].dump(), count.dump());
  }

  void dtcs() {
    if (blind_) return;
    const auto key = [](const Json& d) {
      return fmt::format("{} {} {}", d["controller"].dump(), d["spn"].dump(), d["fmi"].dump());
    };
    std::map<std::string, const Json*> is;
    for (const Json& d : report_["dtcs"]) is[key(d)] = &d;
    for (const Json& was : truth_["dtcs"]) {
      const auto found = is.find(key(was));
      if (found == is.end()) {
        say("trouble code {} is not reported", key(was));
        continue;
      }
      const Json& d = *found->second;
      if (!near(d["first_active"], was["first_active"], 1.1) || !near(d["cleared"], was["cleared"], 1.1) ||
          d["activations"] != was["activations"] || d["occurrence_count"] != was["occurrence_count"])
        say("trouble code: reported {}, staged {}", d.dump(), was.dump());
      is.erase(found);
    }
    for (const auto& [k, d] : is) say("trouble code {} was never staged", k);
  }

  void blind() {
    for (const Json& was : truth_["blind"]) {
      bool found = false;
      for (const Json& bus : report_["capture"]["buses"]) {
        if (bus["bus"] != was["bus"]) continue;
        for (const Json& is : bus["blind"])
          found = found ||
                  (seconds(is["start"]) < seconds(was["end"]) && seconds(is["end"]) > seconds(was["start"]));
      }
      if (!found && was["frames_lost"] != 0) say("blind span {} is not reported", was.dump());
    }
    // A clock put forward cannot be told from a recorder that stood still.
    if (truth_["blind"].empty() && truth_["clock_steps_s"].empty() && report_["capture"]["damage"].empty())
      for (const Json& bus : report_["capture"]["buses"])
        if (!bus["blind"].empty()) say("blind span that never was: {}", bus["blind"].dump());
  }

  const Json& report_;
  const Json& truth_;
  bool blind_ = false;
  std::vector<std::string> departures_;
};

}  // namespace

std::vector<std::string> departures(const nlohmann::json& report, const nlohmann::json& truth) {
  return Comparison(report, truth).run();
}

}  // namespace tramlog::cases
