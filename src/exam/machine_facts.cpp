#include "exam/machine_facts.hpp"

#include "isobus/position.hpp"

namespace tramlog {
namespace {
constexpr Pgn kPgnEngineHours = 0xFEE5;  // 65253
}

bool MachineFacts::wants(Pgn pgn) {
  return pgn == kPgnEngineHours || pgn == kPgnRapidPosition || pgn == kPgnPositionData ||
         pgn == kPgnVehiclePosition;
}

void MachineFacts::take(const Message& message) {
  if (message.pgn == kPgnEngineHours) {
    if (message.data.size() < 4) return;
    const std::uint32_t raw =
        load_le32(message.data.data());  // B1-4, SPN 247, 0.05 h a bit (fact sheet, signals)
    if (raw > 0xFAFFFFFF) return;
    record_.hours_last = raw * 0.05;
    if (!record_.hours_first) record_.hours_first = record_.hours_last;
    return;
  }
  if (record_.place) return;
  // A receiver without a fix may say zero and zero, which is no field.
  const auto position = parse_position(message.pgn, message.data);
  if (position && (position->latitude_deg != 0 || position->longitude_deg != 0))
    record_.place = MachineRecord::Place{position->latitude_deg, position->longitude_deg};
}

}  // namespace tramlog
