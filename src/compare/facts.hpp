// What a report says, in the form in which two are held against each other.
#pragma once

#include <map>
#include <optional>
#include <set>
#include <string>
#include <vector>

#include "compare/compare.hpp"
#include "compare/json_view.hpp"
#include "isobus/name.hpp"

namespace tramlog {

struct BusFacts {
  std::string name;
  double load_mean_pct = 0, load_peak_pct = 0, error_frames = 0, bitrate = 0;
  double blind_s = 0, heard_s = 0;
};

struct ControllerFacts {
  Name name;
  std::string bus, label, term, state;
  std::optional<unsigned> address;  // the last one
  std::vector<std::string> software;
  std::map<std::string, std::string> parts;  // what -> text: part number, hardware version, brand, ..
  std::string product_code;                  // of a kind of units or, with some makers, of one unit
};

/// A controller by its place in SideFacts::controllers, or somebody who never claimed, by address.
struct Voice {
  std::optional<std::size_t> controller;
  unsigned address = 0;
  auto operator<=>(const Voice&) const = default;
};

struct DropoutFacts {
  Voice voice;
  double seconds = 0;
  bool open = false;
  std::size_t place = 0;  // in the report's list
};
struct FaultFacts {
  std::string code, text;
  std::vector<std::size_t> controllers;
  std::size_t place = 0;  // in the report's list
};
struct TroubleCodeFacts {
  Voice voice;
  unsigned spn = 0, fmi = 0;
  std::string words;
  double activations = 0;
};
/// One incident: its first cause, and the others that stand beside it.
struct FindingFacts {
  std::string cause, text, confidence;
  std::set<std::size_t> controllers;       // of what it explains
  std::set<std::size_t> dropouts, faults;  // that it explains: places in the report's lists
  struct Rival {
    std::string cause, confidence;
  };
  std::vector<Rival> rivals;
};
struct EntryFacts {
  std::string label, state;
  bool required = true;
};

struct SideFacts {
  SideSummary summary;
  double heard_h = 0;
  double damaged_bytes = 0;
  bool has_roster = false;
  std::vector<BusFacts> buses;
  std::vector<ControllerFacts> controllers;
  std::vector<DropoutFacts> dropouts;
  std::set<unsigned> nameless;     // addresses that talked without a claim
  bool sliced = false;             // of a longer recording
  std::vector<FaultFacts> faults;  // and warnings
  std::vector<FaultFacts> notes;   // faults of severity note
  std::vector<TroubleCodeFacts> codes;
  std::vector<FindingFacts> findings;
  std::vector<EntryFacts> entries;
  const JsonDoc* implements = nullptr;           // an array of the document
  std::map<std::uint64_t, std::size_t> by_name;  // raw NAME -> first controller of it

  /// The first one of that NAME, 16 hex digits.
  std::optional<std::size_t> controller_named(const std::string& hex) const;
};

/// The document must outlive it.
SideFacts facts_of(const CompareSide& side);

}  // namespace tramlog
