#include "parcel/private_extent.hpp"

#include <iterator>

#include "isobus/identification.hpp"

namespace tramlog {
namespace {

constexpr Pgn kVehicleIdentification = 0xFEEC;

constexpr TextFields kTextFields[] = {
    {kPgnEcuIdentification, 6, 1, 1},
    {kPgnProductIdentification, 3, 0, 0},    // the code: of a kind of units, or of this unit
    {kPgnComponentIdentification, 4, 2, 3},  // serial and unit number
    {kVehicleIdentification, 1, 0, 0},
};

std::size_t behind_fields(std::size_t count, Bytes data) {
  std::size_t end = 0;
  for_each_text_field(data, [&](std::size_t at, std::size_t length) {
    if (count == 0) return;
    --count;
    end = at + length + 1;  // with its '*'
  });
  return end;
}

}  // namespace

const TextFields* text_fields(Pgn pgn) {
  const auto found = std::find_if(std::begin(kTextFields), std::end(kTextFields),
                                  [pgn](const TextFields& fields) { return fields.pgn == pgn; });
  return found == std::end(kTextFields) ? nullptr : found;
}

std::size_t known_bytes(Pgn pgn, Bytes data) {
  if (const TextFields* fields = text_fields(pgn)) return behind_fields(fields->count, data);
  return kAllBytes;
}

}  // namespace tramlog
