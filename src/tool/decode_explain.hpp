// Finds what tramlog decode --explain needs: one frame, and the message that it is a part of.
#pragma once

#include <deque>
#include <memory>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "decode/interpreter.hpp"

namespace tramlog {

class FrameFinder final : public DecodeSink {
 public:
  FrameFinder(const Schema& schema, std::uint64_t number, std::optional<Roster> roster);

  void take(std::span<const Event> events);
  /// Nothing more is needed.
  bool done() const { return done_; }
  bool found() const { return found_; }
  std::uint64_t last_number() const { return last_number_; }

  const Event& frame() const { return frame_; }
  const Message* message() const { return message_ ? &message_->message : nullptr; }
  const std::string& bus() const { return bus_; }
  const std::optional<Speaker>& from() const { return from_; }
  const std::optional<Speaker>& to() const { return to_; }

 private:
  struct Whole {
    Message message;
    std::vector<std::uint8_t> data;
  };

  void on_message(const DecodedMessage& message) override;
  void on_event(const Event& event) override { (void)event; }
  void on_bus(const Event& announcement) override;
  void keep(const Event& event);
  bool holds_frame(const Message& message) const;

  std::uint64_t number_;
  std::unique_ptr<Interpreter> interpreter_;
  bool found_ = false, done_ = false;
  std::uint64_t last_number_ = 0;
  Event frame_;
  std::vector<std::uint8_t> payload_;
  bool piece_ = false;        // of a transfer
  std::deque<Whole> recent_;  // messages that ended before: the frame may acknowledge one
  std::optional<Whole> message_;
  std::optional<Speaker> from_, to_;
  std::vector<std::string> buses_;
  std::string bus_;
};

}  // namespace tramlog
