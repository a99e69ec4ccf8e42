// A signal's value out of a message: number, unit, and whether it is one. ISO 11783-7 / J1939-71 and NMEA
// 2000 reserve codes at the top of the range (fact sheet, signals, 5); they never show up as numbers.
#pragma once

#include <cstdint>
#include <string>
#include <string_view>

#include "base/decimal.hpp"

namespace tramlog {

struct SignalSpec;

enum class Validity : std::uint8_t {
  valid,
  not_available,  // all ones, or a code whose text says so; in a command: no action asked for
  error,          // the sender says that its value is wrong
  reserved,       // a code without a meaning for everybody (parameter specific, reserved)
  out_of_range,   // a number, but outside the signal's range; `value` holds it
  cut_off,        // the message is shorter than the signal's place
};
/// "valid", "not-available", "error", "reserved", "out-of-range", "cut-off": for JSON.
std::string_view validity_code(Validity validity);
/// "not available", "error", ..; "not requested" for not_available in a command.
std::string_view validity_words(Validity validity, bool command);

struct Reading {
  const SignalSpec* signal = nullptr;  // owned by the Schema
  std::uint64_t raw = 0;               // the bits as sent, right-aligned, not sign-extended; 0 if cut_off
  Number value;                        // in the signal's own unit; only if valid or out_of_range
  const std::string* text = nullptr;   // the code's name if the signal has one for it; with any validity
  Validity validity = Validity::cut_off;

  bool has_value() const { return validity == Validity::valid || validity == Validity::out_of_range; }
};

/// The characters of a signal with unit "ASCII", in the order in which they are sent, without padding (NUL,
/// blanks) at the end; safe to print, UTF-8.
std::string characters_of(const Reading& reading);

}  // namespace tramlog
