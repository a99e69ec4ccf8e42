// Plays a capture onto CAN interfaces of this machine, at its own pace or a factor of it.
//
//   auto talking = who_talks({"can0"}, 3 * kSecond, &stop);      // a bus in use is not for replaying
//   if (!talking->empty()) ... refuse: "busy: these addresses are talking" ...
//   auto source = CaptureSource::open({"field.pcapng"});
//   auto tally = replay(*source, {.routes = {{"can0", "vcan0"}}}, &stop, {});
#pragma once

#include <cstdint>
#include <functional>
#include <optional>
#include <string>
#include <vector>

#include "base/result.hpp"
#include "io/capture_reader.hpp"
#include "wire/replay_schedule.hpp"
#include "wire/speaking_socket.hpp"

namespace tramlog {

struct Talker {
  std::string interface;
  std::optional<Address> address;  // none: frames that are no ISO 11783 frames
  std::uint64_t frames = 0;
};
/// Listens and sends nothing. Ends early if `stop` is raised, with what was heard so far.
Result<std::vector<Talker>> who_talks(const std::vector<std::string>& interfaces, SpanNs listen,
                                      const StopFlag* stop);
/// "busy: 0x26, 0x80 and 0xF0 are talking on can0"; "" if nobody does.
std::string busy_text(const std::vector<Talker>& talkers);

struct ReplayRoute {
  std::string bus;        // as the capture names it; "*": every bus that no other route names
  std::string interface;  // of this machine
};

struct ReplayOptions {
  std::vector<ReplayRoute> routes;
  ReplayPace pace;
  std::optional<TimeNs> from, to;  // of the capture's time, both included
  SpanNs patience = 5 * kSecond;   // a queue that stays full for longer ends the replay
};

struct ReplayTally {
  std::uint64_t sent = 0;
  std::uint64_t errors = 0;    // left out: error frames
  std::uint64_t notices = 0;   // left out: what the recorder said
  std::uint64_t foreign = 0;   // left out: no CAN frames we can read, or cut short in the capture
  std::uint64_t unrouted = 0;  // left out: of a bus without a route
  std::uint64_t no_fd = 0;     // left out: CAN FD, for an interface that takes none
  std::uint64_t outside = 0;   // left out: before `from` or after `to`
  std::uint64_t waits = 0;     // frames that had to wait for room in the queue
  SpanNs latest = 0;           // the largest delay behind the due time
  std::uint64_t cut_pauses = 0;
  std::uint64_t steps_back = 0;  // time stamps that went back
  SpanNs took = 0;
  bool interrupted = false;
};

/// Sends every frame with its identifier, kind and flags. `progress` is called at most four times a second.
/// Errors: a pace or route that makes no sense (usage); an interface that is missing, down or takes nothing
/// (environment).
Result<ReplayTally> replay(CaptureSource& source, const ReplayOptions& options, const StopFlag* stop,
                           const std::function<void(const ReplayTally&)>& progress = {});

}  // namespace tramlog
