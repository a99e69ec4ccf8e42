// Everything that speaks by itself again and again: one entry for each message of a controller and for each
// stranger.
#pragma once

#include <cstdint>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "stage/bus.hpp"
#include "stage/payload.hpp"

namespace tramlog::stage {

class World;
class Controller;

class Streams {
 public:
  explicit Streams(World& world) : world_(world) {}

  void add(std::uint32_t controller, const MessageSpec& spec, std::uint64_t seed);
  void add_stranger(std::size_t stranger, std::uint64_t seed);
  /// Starts what a controller sends by itself, from now on.
  void start(std::uint32_t controller);
  void stop(std::uint32_t controller);
  /// Ends or takes up one message of a living controller; 0 means all of them.
  void hold(std::uint32_t controller, Pgn pgn, bool held);
  /// Ends or takes up what is addressed to this controller.
  void hold_to(const std::string& label, bool held);
  /// A cyclic message comes at another pace from now on; none: at its own again.
  void set_pace(std::uint32_t controller, Pgn pgn, std::optional<SpanNs> period);
  /// One more message, from now on if its sender is operational.
  void add_now(std::uint32_t controller, MessageSpec spec, std::uint64_t seed);
  /// What a message says: its own values, always the last ones, or "not available".
  enum class Content : std::uint8_t { alive, frozen, not_available };
  void set_content(std::uint32_t controller, Pgn pgn, Content content);
  void start_heartbeat(std::uint32_t controller, SpanNs period);
  /// The next heartbeat starts over with 251.
  void restart_heartbeat(std::uint32_t controller);
  /// On request: sends the message once if the controller has it.
  bool send_once(std::uint32_t controller, Pgn pgn);
  /// The agenda's entry came up.
  void due(std::uint32_t stream, std::uint32_t generation);

 private:
  struct Stream {
    std::uint32_t controller = kNobody;
    std::size_t stranger = 0;
    const MessageSpec* spec = nullptr;
    std::unique_ptr<MessageSpec> own_spec;  // of a stranger, of add_now
    std::unique_ptr<Payload> payload;
    WireFrame frame;  // identifier and flags ready
    Random random;
    std::uint32_t generation = 0;
    TimeNs base = 0;  // release without jitter
    SpanNs period = 0;
    unsigned burst_left = 0;
    int heartbeat = 251;
    std::uint8_t sequence = 0;  // fast packet
    bool held = false;
    bool waiting = false;                   // the one before has not left yet
    bool hurried = false, overdue = false;  // at a pace that is not its own: it comes again at once
    Content content = Content::alive;
    // the fast packet under way
    std::uint32_t frames_left = 0;
    bool unheard = false, broken = false;
  };
  void emit(std::uint32_t index);
  const std::vector<std::uint8_t>& content(Stream& stream);
  void start_one(std::uint32_t index);
  void emit_fast_packet(std::uint32_t index, const std::vector<std::uint8_t>& bytes);
  void schedule(std::uint32_t index, bool first);
  /// Fills in the identifier; false while the partner that it is addressed to has no address.
  bool address_frame(Stream& stream);

  World& world_;
  std::vector<Stream> streams_;
};

}  // namespace tramlog::stage
