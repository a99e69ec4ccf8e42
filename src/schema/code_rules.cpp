#include "schema/code_rules.hpp"

#include "schema/schema.hpp"

namespace tramlog {
namespace {

std::uint64_t mask_of(unsigned bits) {
  return bits >= 64 ? ~std::uint64_t{0} : (std::uint64_t{1} << bits) - 1;
}

// Text fields: 0 is an error, all ones not available; a longer field is judged as a whole, because texts are
// padded with either.
Validity class_of_characters(std::uint64_t raw, std::uint64_t mask) {
  if (raw == mask) return Validity::not_available;
  return raw == 0 ? Validity::error : Validity::valid;
}

constexpr std::uint8_t kFirstReservedTop = 0xFB;

Validity class_by_top_byte(std::uint64_t raw, unsigned bits) {
  switch (raw >> (bits - 8)) {
    case 0xFF:
      return Validity::not_available;
    case 0xFE:
      return Validity::error;
    case 0xFD:
    case 0xFC:
    case kFirstReservedTop:
      return Validity::reserved;
    default:
      return Validity::valid;
  }
}

Validity class_iso11783(const SignalSpec& signal, std::uint64_t raw) {
  // The standard has no two's complement fields with reserved codes: its signed quantities use an offset.
  if (signal.encoding == Encoding::signed_integer) return Validity::valid;
  const unsigned bits = signal.bit_length;
  const std::uint64_t mask = mask_of(bits);
  if (signal.characters && bits % 8 == 0) return class_of_characters(raw, mask);
  if (bits == 8 || bits == 16 || bits == 32) return class_by_top_byte(raw, bits);
  if (raw == mask) return Validity::not_available;
  if (bits >= 2 && bits <= 6 && raw == mask - 1)
    return bits == 2 && signal.command ? Validity::reserved : Validity::error;
  return Validity::valid;  // other widths: no source gives more than all ones
}

Validity class_nmea2000(const SignalSpec& signal, std::uint64_t raw) {
  const unsigned bits = signal.bit_length;
  const bool is_signed = signal.encoding == Encoding::signed_integer;
  const std::uint64_t mask = mask_of(bits);
  if (signal.characters && bits % 8 == 0) return class_of_characters(raw, mask);
  const std::uint64_t top = is_signed ? mask >> 1 : mask;
  if (is_signed && raw > top) return Validity::valid;  // negative
  const std::uint64_t below = top - raw;
  if (below == 0) return Validity::not_available;
  const bool whole = bits == 8 || bits == 16 || bits == 32 || (is_signed && (bits == 24 || bits == 64));
  if (below == 1 && (whole || (!is_signed && bits >= 2 && bits <= 4))) return Validity::error;
  if (below == 2 && whole && bits != 64 && !(is_signed && bits == 8)) return Validity::reserved;
  return Validity::valid;
}

}  // namespace

Validity class_of_code(const SignalSpec& signal, std::uint64_t raw) {
  if (signal.bit_length <= 1 || signal.all_valid) return Validity::valid;
  switch (signal.rule) {
    case CodeRule::iso11783:
      return class_iso11783(signal, raw);
    case CodeRule::nmea2000:
      return class_nmea2000(signal, raw);
    case CodeRule::none:
      break;
  }
  return Validity::valid;
}

NumberRange numbers_of(const SignalSpec& signal) {
  const std::uint64_t mask = mask_of(signal.bit_length);
  const bool is_signed = signal.encoding == Encoding::signed_integer;
  NumberRange range;
  range.first = is_signed ? 0 - (mask >> 1) - 1 : 0;
  range.last = is_signed ? mask >> 1 : mask;
  if (!is_signed && class_of_code(signal, 0) != Validity::valid) range.first = 1;  // texts
  if (class_of_code(signal, range.last) == Validity::valid) return range;
  // All other reserved codes lie together at the top: from a top byte of 0xFB on, or at most three
  // codes.
  const unsigned bits = signal.bit_length;
  const bool by_top_byte = signal.rule == CodeRule::iso11783 && (bits == 8 || bits == 16 || bits == 32) &&
                           !signal.characters && !is_signed;
  if (by_top_byte)
    range.last = (std::uint64_t{kFirstReservedTop} << (bits - 8)) - 1;
  else
    while (class_of_code(signal, range.last) != Validity::valid) --range.last;
  return range;
}

}  // namespace tramlog
