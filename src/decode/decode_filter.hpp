// A DecodeFilter made ready: names looked up in the schema once. Internal to the Interpreter.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <unordered_map>
#include <unordered_set>
#include <vector>

#include "decode/interpreter.hpp"

namespace tramlog {

class CompiledFilter {
 public:
  /// Fails as Interpreter::make() does.
  static Result<CompiledFilter> make(const DecodeFilter& filter, const Schema& schema,
                                     const std::optional<Roster>& roster);

  /// Messages only: error frames and notices are not told.
  bool narrows_messages() const { return by_controller_ || by_message_ || by_signal_; }
  bool by_signal() const { return by_signal_; }
  bool wants_bus(std::string_view name) const;
  /// The sender and the message; which signals is another question.
  bool wants_sender(const Talk& talk) const;
  bool wants_message(const Talk& talk) const;
  /// A transport PGN is told on its own if it was named.
  bool names_pgn(Pgn pgn) const { return pgns_.count(pgn) > 0; }
  /// Signals to show of a message if by_signal(), in the message's order; null if none.
  const std::vector<const SignalSpec*>* signals_of(const MessageSpec* spec) const;
  bool wants_data_entities() const { return !data_entities_.empty(); }
  bool wants_data_entity(std::uint16_t ddi) const { return data_entities_.count(ddi) > 0; }

 private:
  std::optional<Error> add_controller(const std::string& text, const std::optional<Roster>& roster);
  std::optional<Error> add_message(const std::string& text, const std::vector<const MessageSpec*>& known);
  std::optional<Error> add_signal(const std::string& text, const std::vector<const MessageSpec*>& known);
  void sort_signals();

  bool by_controller_ = false, by_message_ = false, by_signal_ = false;
  std::vector<std::string> buses_;  // lower case, as the following patterns
  std::vector<std::string> senders_;
  std::unordered_set<std::uint64_t> names_;
  std::unordered_set<std::uint32_t> addresses_;
  std::unordered_set<Pgn> pgns_;
  std::unordered_set<const MessageSpec*> messages_;
  std::unordered_map<const MessageSpec*, std::vector<const SignalSpec*>> signals_;
  std::unordered_set<std::uint16_t> data_entities_;
};

}  // namespace tramlog
