#include "isobus/acknowledgement.hpp"

#include <fmt/format.h>

#include "isobus/pgn_field.hpp"

namespace tramlog {
namespace {

constexpr AcknowledgementKind kind_of(std::uint8_t control) {
  return control < 4 ? static_cast<AcknowledgementKind>(control) : AcknowledgementKind::reserved;
}

}  // namespace

std::optional<Pgn> parse_request(Bytes data) {
  if (data.size() < 3) return std::nullopt;
  return load_pgn_field(data.data());
}

std::optional<RepetitionRateRequest> parse_repetition_rate_request(Bytes data) {
  if (data.size() < 5) return std::nullopt;
  const std::optional<Pgn> pgn = load_pgn_field(data.data());
  if (!pgn) return std::nullopt;
  return RepetitionRateRequest{*pgn, load_le16(data.data() + 3)};
}

std::optional<Acknowledgement> parse_acknowledgement(Bytes data) {
  if (data.size() < 8) return std::nullopt;
  const std::optional<Pgn> pgn = load_pgn_field(data.data() + 5);
  if (!pgn) return std::nullopt;
  Acknowledgement result;
  result.kind = kind_of(data[0]);
  result.control = data[0];
  result.group_function = data[1];
  if (data[4] != kGlobalAddress) result.acknowledged = data[4];
  result.pgn = *pgn;
  return result;
}

std::string acknowledgement_text(std::uint8_t control) {
  switch (kind_of(control)) {
    case AcknowledgementKind::positive:
      return "acknowledged";
    case AcknowledgementKind::negative:
      return "not supported";
    case AcknowledgementKind::access_denied:
      return "access denied";
    case AcknowledgementKind::busy:
      return "busy";
    case AcknowledgementKind::reserved:
      break;
  }
  return fmt::format("control byte {}", control);
}

}  // namespace tramlog
