// The thread at the buses: sockets, links, counters; what it hears goes to the Scribe.
#pragma once

#include <functional>
#include <memory>
#include <mutex>
#include <optional>
#include <string>
#include <vector>

#include "base/result.hpp"
#include "base/time.hpp"
#include "daemon/scribe.hpp"
#include "wire/link_settings.hpp"
#include "wire/time_keeper.hpp"

namespace tramlog {

/// What the configuration asks for one interface; nothing of it is touched otherwise.
struct InterfaceSettings {
  std::string name;
  LinkSettings wish;
  bool operator==(const InterfaceSettings&) const = default;
};

struct ListenerOptions {
  std::vector<std::string> listen;  // names and patterns
  std::vector<InterfaceSettings> settings;
  int buffer_bytes = 4 << 20;  // of each socket
  bool operator==(const ListenerOptions&) const = default;
};

/// One interface as it is now.
struct InterfaceStatus {
  std::string name;
  std::string state;   // "hearing", "no frame yet", "no traffic", "only errors", "down", "bus-off", "removed", "missing", "cannot listen"
  bool can_hear = false;  // it is open, and nothing that is known stands in the way; whether anybody talks is another question
  std::string detail;  // what to do, if anything
  std::string kind;    // of the driver: "can", "vcan"
  std::optional<std::uint32_t> bitrate;
  std::optional<std::string> controller_state;
  std::optional<bool> listen_only, error_reporting;
  std::optional<std::uint16_t> transmit_errors, receive_errors;
  std::uint64_t frames = 0, error_frames = 0;
  std::uint64_t lost_system = 0, lost_interface = 0;
  std::uint64_t frames_per_s = 0;  // of the last full second
  std::optional<TimeNs> last_frame;
};

class Listener {
 public:
  enum class Level { info, warning };
  struct Hooks {
    std::function<void(Level, const std::string&)> journal;
    /// Once a second and before each flush: notes of others for the capture, from the listener's thread.
    std::function<void(Scribe&, TimeNs now)> every_flush;
  };

  Listener(ListenerOptions options, Scribe& scribe, TimeKeeper time, Hooks hooks);
  ~Listener();
  Listener(const Listener&) = delete;
  Listener& operator=(const Listener&) = delete;

  /// An error if the interfaces cannot be watched at all.
  std::optional<Error> start();
  /// Reads what is still waiting, lets the Scribe finish, ends the thread.
  void stop();

  std::vector<InterfaceStatus> status() const;
  /// The recorder's time now.
  TimeNs now() const;
  SpanNs clock_shift() const;
  /// Its thread looked at the clocks within this time.
  bool awake_within(SpanNs span) const;
  /// From any thread: a note into the capture at this moment; the time that it got. None if the run is ending.
  std::optional<TimeNs> note(RecorderNote note);
  void reconfigure(ListenerOptions options);

 private:
  class Impl;
  std::unique_ptr<Impl> impl_;
};

}  // namespace tramlog
