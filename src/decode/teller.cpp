#include "decode/teller.hpp"

#include <unordered_map>

#include "decode/tellers/table.inc"

namespace tramlog {

const Teller* find_teller(Pgn pgn) {
  static const std::unordered_map<Pgn, const Teller*> by_pgn = [] {
    std::unordered_map<Pgn, const Teller*> map;
    for (const Teller* teller : tellers::kAll)
      for (const Pgn one : teller->pgns) map.emplace(one, teller);
    return map;
  }();
  const auto found = by_pgn.find(pgn);
  return found == by_pgn.end() ? nullptr : found->second;
}

}  // namespace tramlog
