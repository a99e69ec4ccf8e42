// What the bus tells of the machine itself: the engine's hours, and where it was first.
#pragma once

#include "exam/day_series.hpp"
#include "isobus/message.hpp"

namespace tramlog {

class MachineFacts {
 public:
  static bool wants(Pgn pgn);
  void take(const Message& message);
  const MachineRecord& record() const { return record_; }

 private:
  MachineRecord record_;
};

}  // namespace tramlog
