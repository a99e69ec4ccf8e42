// Which speed source is in use, by the machine's own word (PGN 61474, B8 bits 5-3) and by the implements'
// (DDI 400), and when one falls back to a worse one (fact sheet, process data, 5.2 and 5.10: the two number
// their sources differently).
#pragma once

#include <array>
#include <cstdint>
#include <map>
#include <optional>
#include <string>
#include <vector>

#include "implement/machine_state.hpp"
#include "implement/spell.hpp"

namespace tramlog {

class SpeedChoice {
 public:
  static constexpr std::size_t kMaxTellers = 32;
  /// A worse source in use for a shorter time is no fall-back: a single message of a change-over.
  static constexpr double kConfirmS = 1.0;

  /// PGN 61474 told this code.
  void selected(Mark at, unsigned code) { take({kMachine, 0}, at, code); }
  /// DDI 400 of this element of the implement at this address.
  void implement(Mark at, Address address, std::uint16_t element, std::uint32_t code) {
    take({address, element}, at, code);
  }
  /// Time has come this far. `driving`: faster than standing; `working`: work is on. `used`: what is
  /// calculated with.
  void look(Mark now, bool driving, bool working, std::optional<SpeedSource> used);
  /// Nothing of what happens until the next look() is known.
  void blind() { looked_.reset(); }
  /// The machine selected speed is simulated now.
  bool is_simulated() const;

  /// "Calculated with ..." and what each one told; with the fall-backs before it if there were any: then
  /// `attention` is set.
  std::string sentences(TimeNs end, bool& attention) const;
  std::vector<Moment> moments() const;
  std::optional<TimeNs> first_fall() const;
  std::optional<TimeNs> last_end() const;
  double longest_fall_s(TimeNs end) const;
  std::uint64_t falls() const;

 private:
  static constexpr unsigned kMachine = 0x100;  // in place of an address
  struct Who {
    unsigned address = kMachine;
    std::uint16_t element = 0;
    auto operator<=>(const Who&) const = default;
  };
  struct Teller {
    std::uint32_t code = 0;
    std::optional<std::uint32_t> fell_from;
    Mark changed;
    Spell fall, simulated;
  };
  void take(Who who, Mark at, std::uint32_t code);
  static int rank(Who who, std::uint32_t code);
  static std::string code_words(Who who, std::uint32_t code);
  static std::string who_words(Who who);
  static bool simulated(Who who, std::uint32_t code);
  void add_moment(Mark at, std::string text);

  std::map<Who, Teller> tellers_;
  std::vector<Moment> changes_;
  std::optional<TimeNs> looked_;
  std::array<double, kSpeedSources + 1> used_s_{};  // while driving; the last: none
};

}  // namespace tramlog
