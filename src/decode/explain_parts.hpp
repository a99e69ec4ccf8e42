// Pieces of explain_frame(). Internal.
#pragma once

#include <cstddef>
#include <cstdint>
#include <string>
#include <string_view>
#include <vector>

#include "base/bytes.hpp"
#include "decode/explain.hpp"

namespace tramlog {

/// Text of bounded width. What is given must be safe to print already, except where a function says
/// otherwise.
class ExplainPage {
 public:
  explicit ExplainPage(bool unicode) : unicode_(unicode) {}

  /// Safe to print, ASCII unless unicode is wanted.
  std::string shown(std::string_view text) const;
  /// A line as it stands (a drawing).
  void raw_line(std::string_view text);
  /// Broken at blanks; later lines are indented by `hang` more.
  void text(std::size_t indent, std::string_view text, std::size_t hang = 2);
  /// `text` behind a `lead` that keeps its blanks; broken lines begin below the text.
  void row(std::string_view lead, std::string_view text);
  void gap();

  const std::string& result() const { return text_; }

 private:
  bool unicode_;
  std::string text_;
};

/// Numbers of the signal's bits (8 x byte index + bit, bit 0 = least significant of its byte), the least
/// significant bit of the value first.
std::vector<std::uint32_t> bit_places(const SignalSpec& signal);

/// Bytes as rows with the bits as sent; with a spec the signals that own them, then each signal, and what is
/// left over. `data` is the whole message.
void explain_bytes(ExplainPage& page, Bytes data);
void explain_signals(ExplainPage& page, const Schema& schema, const MessageSpec& spec, Bytes data,
                     const UnitChoice& units);

/// Which rule made the reading what it is: "FE in the top byte: error, ISO 11783-7".
std::string validity_reason(const Reading& reading, std::size_t data_bytes);

}  // namespace tramlog
