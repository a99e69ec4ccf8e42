// Units and language agreed between controllers: the language commands on the bus (PGN 65039; fact sheet,
// process data, 7.6).
#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <bitset>
#include <map>

#include "base/text.hpp"
#include "implement/line_tools.hpp"
#include "implement/watch.hpp"
#include "isobus/process_data.hpp"

namespace tramlog::machine {

extern const MachineWatchKind units;

namespace {

constexpr Pgn kLanguage = 0xFE0F;
constexpr std::size_t kMaxSenders = 32;
constexpr unsigned kNoAction = 3;
// Answers to one request, or to one change of the operator's, come within this; what somebody said longer
// before another's change of mind is not known to hold any more.
constexpr SpanNs kTogether = 10 * kSecond;
constexpr const char* kUnitTerms[] = {"distance",    "area",     "volume", "mass",
                                      "temperature", "pressure", "force",  "unit system"};
constexpr const char* kSystemTerms[] = {"metric", "imperial", "US", "no action"};
constexpr const char* kSymbolTerms[] = {"comma", "point", "reserved", "no action"};

struct Told {
  Mark at;
  std::array<std::uint8_t, 6> bytes{};  // B1-B6

  bool has_language() const {
    const auto letter = [](std::uint8_t c) { return (c | 0x20) >= 'a' && (c | 0x20) <= 'z'; };
    return letter(bytes[0]) && letter(bytes[1]);
  }
  /// Upper and lower case are the same language.
  std::string language() const {
    std::string text = printable_latin1(Bytes(bytes.data(), 2));
    for (char& c : text)
      if (c >= 'A' && c <= 'Z') c = static_cast<char>(c | 0x20);
    return text;
  }
  unsigned symbol() const { return bytes[2] >> 6; }
  /// B5 and B6, from the highest bits down.
  unsigned unit(std::size_t i) const { return bytes[4 + i / 4] >> (6 - 2 * (i % 4)) & 3; }
};

class Units final : public MachineWatch {
 public:
  void on_message(const Message& message) override {
    if (message.pgn == kPgnProcessData && !message.data.empty() &&
        static_cast<ProcessCommand>(message.data[0] & 0x0F) == ProcessCommand::status)
      task_controllers_.set(message.source);
    if (message.pgn != kLanguage || message.data.size() < 6) return;
    const auto found = told_.find(message.source);
    if (found == told_.end() && told_.size() >= kMaxSenders) {
      ++not_kept_;
      return;
    }
    Told now;
    now.at = {message.start, message.first_frame};
    std::copy_n(message.data.begin(), 6, now.bytes.begin());
    if (found != told_.end() && found->second.bytes != now.bytes) changed_at_ = message.start;
    told_[message.source] = now;
  }

  void conclude(TimeNs, std::vector<CheckLine>& lines) override {
    if (told_.empty()) {
      lines.push_back(make_line("units.disagree", "units", "", Verdict::not_shown,
                                "Not shown on this bus: no language command (PGN 65039)."));
      return;
    }
    std::map<Address, Told> all;
    for (const auto& [address, told] : told_)
      if (!changed_at_ || span_between(told.at.time, *changed_at_) <= kTogether) all.emplace(address, told);
    if (all.size() < 2) {
      const auto& [address, told] = all.empty() ? *told_.begin() : *all.begin();
      lines.push_back(make_line(
          "units.disagree", "units", "", Verdict::not_shown,
          fmt::format("Not shown on this bus: only {} sent a language command{} ({}): there is nothing to "
                      "compare it with.",
                      sender_words(address), changed_at_ ? " since the latest change" : "", summary(told))));
      return;
    }
    std::vector<std::pair<std::string, std::string>> differ_in;  // what, and who says which; those alike together
    const auto differ = [&](const char* what, auto value) {
      // Value in words -> who says so; an empty value says nothing and agrees with everything.
      std::map<std::string, std::string> said;
      for (const auto& [address, told] : all) {
        const std::string words = value(told);
        if (words.empty()) continue;
        std::string& who = said[words];
        who += (who.empty() ? "" : " and ") + sender_words(address);
      }
      if (said.size() < 2) return;
      std::string told;
      for (const auto& [words, who] : said) told += fmt::format("{}{} ({})", told.empty() ? "" : ", ", words, who);
      const auto alike = std::find_if(differ_in.begin(), differ_in.end(), [&](const auto& d) { return d.second == told; });
      if (alike == differ_in.end())
        differ_in.emplace_back(what, told);
      else
        alike->first += std::string(", ") + what;
    };
    differ("language", [](const Told& told) {
      return told.has_language() ? "\"" + told.language() + "\"" : std::string();
    });
    differ("decimal symbol", [](const Told& told) {
      return told.symbol() >= 2 ? std::string() : std::string(kSymbolTerms[told.symbol()]);
    });
    for (std::size_t i = 0; i < std::size(kUnitTerms); ++i)
      differ(kUnitTerms[i], [i](const Told& told) {
        return told.unit(i) == kNoAction ? std::string() : std::string(kSystemTerms[told.unit(i)]);
      });
    std::string differences;
    for (const auto& [what, told] : differ_in) differences += fmt::format("{}{}: {}", differences.empty() ? "" : "; ", what, told);
    CheckLine line = make_line("units.disagree", "units", "",
                               differences.empty() ? Verdict::pass : Verdict::attention, "");
    if (differences.empty()) {
      std::string who;
      for (const auto& [address, told] : all) who += (who.empty() ? "" : ", ") + sender_words(address);
      line.text = fmt::format("{} agree: {}.", who, summary(all.begin()->second));
      line.text[0] = static_cast<char>(line.text[0] - 'a' + 'A');
    } else {
      line.text = "Language commands disagree: " + differences +
                  ". A rate may be read in another unit than it was meant.";
      for (const auto& [address, told] : all)
        add_moment(line, told.at,
                   fmt::format("language command of {}: {}", sender_words(address), summary(told)));
      std::stable_sort(line.moments.begin(), line.moments.end(),
                       [](const Moment& a, const Moment& b) { return a.at.time < b.at.time; });
      // Since the second one spoke: before that there was nothing to disagree with.
      line.start = line.moments[1].at.time;
    }
    with(line, "controllers", static_cast<double>(all.size()), 0);
    if (not_kept_ > 0)
      line.text += fmt::format(" {} more are not looked at.",
                               counted_words(not_kept_, "language command", "language commands"));
    lines.push_back(std::move(line));
  }

 private:
  std::string sender_words(Address address) const {
    return fmt::format("{} at address {} (0x{:02X})",
                       task_controllers_.test(address) ? "the task controller" : "the controller", address,
                       address);
  }
  /// "language "de", decimal symbol comma, mass metric, area metric".
  static std::string summary(const Told& told) {
    return fmt::format("language {}, decimal symbol {}, mass {}, area {}",
                       told.has_language() ? "\"" + told.language() + "\"" : "not told",
                       kSymbolTerms[told.symbol()], kSystemTerms[told.unit(3)], kSystemTerms[told.unit(1)]);
  }

  std::map<Address, Told> told_;
  std::optional<TimeNs> changed_at_;  // somebody said something else than before
  std::uint64_t not_kept_ = 0;
  std::bitset<256> task_controllers_;  // addresses that sent a task controller's status
};

}  // namespace

const MachineWatchKind units{
    "units", [](Pgn pgn) { return pgn == kLanguage; },
    [](const MachineContext&) -> std::unique_ptr<MachineWatch> { return std::make_unique<Units>(); }};

}  // namespace tramlog::machine
