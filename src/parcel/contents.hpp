// The list of what is in a parcel, for people and for programs.
#pragma once

#include "parcel/pack.hpp"

namespace tramlog {

/// contents.txt. `plan`: null if there is no slice.
std::string contents_text(const PackOrder& order, const std::vector<Member>& members,
                          const std::vector<std::string>& left_out, std::span<const Highlight> highlights,
                          const HighlightPlan* plan);
/// contents.json (tramlog.parcel/1): exit_code, private, members[] (name, bytes, what), slices[] (from, to),
/// left_out[].
std::string contents_json(const PackOrder& order, const std::vector<Member>& members,
                          const std::vector<std::string>& left_out, std::span<const Highlight> highlights,
                          const HighlightPlan* plan);
/// tramlog.parcel/1 read back: the exit code of its report; none if it makes no sense.
std::optional<int> exit_code_in(const Parcel& parcel);
/// Whether it says that its identity and serial numbers are stand-ins.
bool is_private_parcel(const Parcel& parcel);

}  // namespace tramlog
