// A teller puts into words what a DBC signal cannot hold: lists, texts, split fields. One file each in
// tellers/; the folder is the list.
#pragma once

#include <string>
#include <vector>

#include "can/can_id.hpp"
#include "isobus/message.hpp"
#include "schema/schema.hpp"

namespace tramlog {

/// One thing said: "trouble code" / "SPN 168 FMI 4: battery potential, voltage below normal; 3 times".
struct Remark {
  std::string name;
  std::string text;  // UTF-8, safe to print
};

struct Teller {
  std::vector<Pgn> pgns;
  /// Adds to `remarks` what the message says beyond its signals. Any bytes may come.
  void (*tell)(const Message& message, const Schema& schema, std::vector<Remark>& remarks);
  /// The remarks say all that the signals hold: text for people then leaves the signals out.
  bool says_all = false;
};

/// The teller for a PGN; null if none is needed. Of two tellers with the same PGN the first by file name.
const Teller* find_teller(Pgn pgn);

}  // namespace tramlog
