// Units and language agreed between controllers: the language commands on the bus (PGN 65039; fact sheet, process data, 7.6).
#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <map>

#include "base/text.hpp"
#include "implement/line_tools.hpp"
#include "implement/watch.hpp"

namespace tramlog::machine {

extern const MachineWatchKind units;

namespace {

constexpr Pgn kLanguage = 0xFE0F;
constexpr std::size_t kMaxSenders = 32;
constexpr const char* kSystems[] = {"metric", "imperial", "US", "no action"};

struct Told {
  Mark at;
  std::array<std::uint8_t, 6> bytes{};  // B1-B6
};

std::string sender_words(Address address) {
  return fmt::format("address {} (0x{:02X})", address, address);
}

class Units final : public MachineWatch {
 public:
  void on_message(const Message& message) override {
    if (message.pgn != kLanguage || message.data.size() < 6) return;
    if (told_.size() >= kMaxSenders && !told_.contains(message.source)) return;
    Told& told = told_[message.source];
    told.at = {message.start, message.first_frame};
    std::copy_n(message.data.begin(), 6, told.bytes.begin());
  }

  void conclude(TimeNs, std::vector<CheckLine>& lines) override {
    if (told_.empty()) {
      lines.push_back(make_line("units.disagree", "units", "", Verdict::not_shown,
                                "Not shown on this bus: no language command (PGN 65039)."));
      return;
    }
    std::string differences;
    const auto differ = [&](const char* what, auto value, auto same) {
      const Told* first = nullptr;
      for (const auto& [address, told] : told_) {
        if (first == nullptr) {
          first = &told;
          continue;
        }
        if (same(*first, told)) continue;
        std::string words;
        for (const auto& [who, says] : told_) words += fmt::format("{}{} says {}", words.empty() ? "" : ", ", sender_words(who), value(says));
        differences += fmt::format("{}{}: {}", differences.empty() ? "" : "; ", what, words);
        return;
      }
    };
    differ(
        "language", [](const Told& t) { return printable_latin1(Bytes(t.bytes.data(), 2)); },
        [](const Told& a, const Told& b) { return a.bytes[0] == b.bytes[0] && a.bytes[1] == b.bytes[1]; });
    differ(
        "decimal symbol", [](const Told& t) { return std::string(t.bytes[2] >> 6 == 0 ? "comma" : t.bytes[2] >> 6 == 1 ? "point" : "no action"); },
        [](const Told& a, const Told& b) { return a.bytes[2] >> 6 == b.bytes[2] >> 6; });
    constexpr const char* kNames[] = {"distance", "area", "volume", "mass", "temperature", "pressure", "force", "unit system"};
    for (unsigned i = 0; i < 8; ++i) {
      const auto code = [i](const Told& t) -> unsigned { return t.bytes[i < 4 ? 4 : 5] >> (6 - 2 * (i % 4)) & 3; };
      differ(
          kNames[i], [&](const Told& t) { return std::string(kSystems[code(t)]); },
          // "No action" agrees with everything.
          [&](const Told& a, const Told& b) { return code(a) == code(b) || code(a) == 3 || code(b) == 3; });
    }
    if (differences.empty()) {
      const Told& one = told_.begin()->second;
      lines.push_back(make_line("units.disagree", "units", "", Verdict::pass,
                                fmt::format("{} told language \"{}\", mass {}, area {}: they agree.",
                                            counted_words(told_.size(), "controller", "controllers"),
                                            printable_latin1(Bytes(one.bytes.data(), 2)), kSystems[one.bytes[4] & 3],
                                            kSystems[one.bytes[4] >> 4 & 3])));
      return;
    }
    CheckLine line = make_line("units.disagree", "units", "", Verdict::attention,
                               "Language commands disagree: " + differences + ". A rate may be read in another unit than it was meant.");
    for (const auto& [address, told] : told_)
      add_moment(line, told.at, fmt::format("language command of {}", sender_words(address)));
    if (!line.moments.empty()) line.start = line.moments.front().at.time;
    lines.push_back(std::move(line));
  }

 private:
  std::map<Address, Told> told_;
};

}  // namespace

const MachineWatchKind units{"units", [](Pgn pgn) { return pgn == kLanguage; },
                             [](const MachineContext&) -> std::unique_ptr<MachineWatch> { return std::make_unique<Units>(); }};

}  // namespace tramlog::machine
