#include "stage/wiring.hpp"

#include <algorithm>
#include <cmath>

namespace tramlog::stage {
namespace {

constexpr std::uint8_t kForm = 0x02, kStuff = 0x04, kUnspecified = 0x00;
constexpr std::uint8_t kIdHigh = 0x02, kIdMiddle = 0x07, kIdLow = 0x0F, kDlc = 0x0B, kData = 0x0A,
                       kCrc = 0x08;
constexpr std::uint8_t kCrcDelimiter = 0x18, kAckDelimiter = 0x1B, kEndOfFrame = 0x1A;
// Bits without stuffing of a frame with 29-bit identifier (fact sheet 9.2).
constexpr unsigned kHeaderBits = 39, kCrcBits = 15;

bool on_branch(const BranchSpec& branch, const ControllerSpec& controller) {
  return std::find(branch.controllers.begin(), branch.controllers.end(), controller.label) !=
         branch.controllers.end();
}

void collect(const Scenario& scenario, std::string_view name, std::vector<const BranchSpec*>& found) {
  for (const BranchSpec& branch : scenario.branches) {
    const bool wanted = branch.name == name || branch.behind == name;
    if (!wanted || std::find(found.begin(), found.end(), &branch) != found.end()) continue;
    found.push_back(&branch);
    if (branch.name != name) collect(scenario, branch.name, found);
  }
}

}  // namespace

std::vector<std::uint32_t> behind_branch(const Scenario& scenario, std::string_view name) {
  std::vector<const BranchSpec*> branches;
  if (!name.empty()) collect(scenario, name, branches);
  std::vector<std::uint32_t> found;
  for (std::uint32_t i = 0; i < scenario.controllers.size(); ++i) {
    const ControllerSpec& controller = scenario.controllers[i];
    const bool there = std::any_of(branches.begin(), branches.end(),
                                   [&](const BranchSpec* branch) { return on_branch(*branch, controller); });
    if (there && !controller.absent) found.push_back(i);
  }
  return found;
}

const BranchSpec* find_branch(const Scenario& scenario, std::string_view name) {
  for (const BranchSpec& branch : scenario.branches) {
    if (branch.name == name) return &branch;
  }
  return nullptr;
}

WireError wire_error(unsigned bit, unsigned data_bytes, std::uint64_t draw) {
  const unsigned crc_from = kHeaderBits + 8 * data_bytes, crc_until = crc_from + kCrcBits;
  if (bit < 9) return {kStuff, kIdHigh};
  if (bit < 19) return {kStuff, kIdMiddle};
  if (bit < 35) return {kStuff, kIdLow};
  if (bit < kHeaderBits) return {kStuff, kDlc};
  if (bit < crc_from) return {kStuff, kData};
  // A wrong CRC shows at the acknowledgement delimiter; drivers tell it as the CRC sequence without a type.
  if (bit < crc_until) return draw % 2 == 0 ? WireError{kStuff, kCrc} : WireError{kUnspecified, kCrc};
  if (draw % 4 == 0) return {kForm, kCrcDelimiter};
  if (draw % 4 == 1) return {kForm, kAckDelimiter};
  return {kForm, kEndOfFrame};
}

double error_chance(double noise, unsigned bits) {
  constexpr double kUsualBits = 131;
  if (noise >= 1) return 1;
  return 1 - std::pow(1 - noise, bits / kUsualBits);
}

}  // namespace tramlog::stage
