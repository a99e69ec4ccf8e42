// What several checks look up in the same way.
#pragma once

#include <string>
#include <vector>

#include "exam/check.hpp"

namespace tramlog {

/// The machine was being switched off at this time: whatever ends then is not worth a word.
bool winding_down(const Observations& seen, TimeNs time);

/// Who held the address at this time.
std::optional<std::size_t> controller_at(const Conclusions& all, BusIndex bus, Address address, TimeNs time);

/// A dropout of this voice, or a silence of its bus, was going on or less than 3 s away.
bool near_dropout(const Conclusions& all, BusIndex bus, Address address, TimeNs from, TimeNs to);

/// The stopped message is a server's status to all, and told as the loss of that server.
bool is_server_loss(const Observations& seen, const MessageStop& stop);
/// The stopped message is what a client keeps its connection up with (terminal or file server), its server
/// lived on, and the client did not turn to another one: that server. Else null.
const ServerRecord* server_left_by(const Observations& seen, const MessageStop& stop);

/// "the terminal", "the task controller", "the file server" with its address.
std::string server_words(const Conclusions& all, const ServerRecord& server);
/// Faults of this code: servers of a kind that were lost, with those who worked with them.
void tell_lost_servers(const Conclusions& all, const Observations& seen, ServerKind kind, const char* code,
                       std::vector<Fault>& faults);

/// SPN 168 with FMI 1, 4, 17 or 18: supply voltage too low (fact sheet 7.4), not only as previously active.
bool tells_low_voltage(const DtcRecord& dtc);
/// An engine's start on any bus that is no more than supply.cranking_s away; null: none.
const Mark* engine_start_near(const Observations& seen, TimeNs time);

/// seconds of a limit as a span.
inline SpanNs span_of(const Observations& seen, const char* key) {
  return static_cast<SpanNs>((*seen.limits)[key] * 1e9);
}
/// Adds the controller unless it is in the list.
void add_once(std::vector<std::size_t>& list, std::optional<std::size_t> controller);

}  // namespace tramlog
