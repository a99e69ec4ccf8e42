// The user's own files about machine and messages: roster, schema, limits of the check-list, device
// descriptions. Loaded alike by the command line and the daemon.
#pragma once

#include <functional>
#include <optional>
#include <string>
#include <vector>

#include "base/result.hpp"
#include "exam/cause_weights.hpp"
#include "exam/roster.hpp"
#include "implement/implement_watch.hpp"
#include "schema/schema.hpp"

namespace tramlog {

struct UserFiles {
  std::string roster;
  std::vector<std::string> schema;        // files and folders
  std::string limits;                     // of the seeding check-list; empty: the built-in ones
  std::string causes;                     // weights of the causes; empty: the built-in ones
  std::vector<std::string> descriptions;  // device descriptions: pool files or captures
  std::string library;                    // folder of device descriptions; empty: the usual one
  bool operator==(const UserFiles&) const = default;
};

/// Takes what is wrong in a file although it can be used.
using TellProblem = std::function<void(const Error&)>;

Result<Roster> load_roster(const std::string& path);
/// None if the path is empty.
Result<std::optional<Roster>> load_roster_if_named(const std::string& path);

/// Our own schema and the user's files upon it: .dbc, and .csv (data dictionary, texts of trouble codes); of
/// a folder all of those, by name. An error only if a file cannot be opened or nothing in it could be used;
/// without `tell` the latter is none, and no problem is told. `counts`: for each file that was added, all its
/// problems, those that its layer does not list too.
Result<Schema> load_schema(const std::vector<std::string>& paths, const TellProblem& tell,
                           std::vector<ProblemCount>* counts = nullptr);

/// Limits, descriptions, library. Errors: a file that cannot be opened or makes no sense. A library folder
/// that is not there is empty.
Result<ImplementOptions> load_implement_options(const UserFiles& files, const Schema& schema,
                                                const TellProblem& tell);

/// The weights behind the causes: the built-in ones if the path is empty.
Result<CauseWeights> load_cause_weights(const std::string& path);

/// The library's folder: the one that is named; else `tramlog-pools` beside the roster. Empty: none.
std::string library_folder(const UserFiles& files);

}  // namespace tramlog
