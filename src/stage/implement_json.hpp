// The truth of one implement as JSON; apart from implement_truth.hpp, so that only the truth file's code
// needs the JSON library.
#pragma once

#include <nlohmann/json_fwd.hpp>

#include "stage/implement_truth.hpp"

namespace tramlog::stage {

nlohmann::json implement_json(const ImplementTruth& truth);

}  // namespace tramlog::stage
