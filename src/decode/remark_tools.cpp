#include "decode/remark_tools.hpp"

#include <fmt/format.h>

#include <algorithm>

#include "base/text.hpp"
#include "exam/words.hpp"
#include "isobus/acknowledgement.hpp"
#include "isobus/identification.hpp"
#include "isobus/network.hpp"

namespace tramlog {
namespace {

/// Messages of the network itself, for a schema that does not have them.
const char* network_message(Pgn pgn) {
  switch (pgn) {
    case kPgnAddressClaimed:
      return "address claim";
    case kPgnCommandedAddress:
      return "commanded address";
    case kPgnRequest:
      return "request";
    case kPgnAcknowledgement:
      return "acknowledgement";
    case kPgnDm1:
      return "active trouble codes (DM1)";
    case kPgnDm2:
      return "previously active trouble codes (DM2)";
    case kPgnDm3:
      return "clearing of previously active trouble codes (DM3)";
    case kPgnDm11:
      return "clearing of active trouble codes (DM11)";
    case kPgnSoftwareIdentification:
      return "software identification";
    case kPgnEcuIdentification:
      return "ECU identification";
    case kPgnProductIdentification:
      return "product identification";
    case kPgnComponentIdentification:
      return "component identification";
    case kPgnFunctionalities:
      return "control function functionalities";
    default:
      return nullptr;
  }
}

}  // namespace

std::string pgn_title(const Schema& schema, Pgn pgn) {
  if (const MessageSpec* spec = schema.find(pgn, kNullAddress, kGlobalAddress))
    return fmt::format("{}, PGN {}", printable_utf8(spec->name), pgn_words(pgn));
  if (const char* name = network_message(pgn)) return fmt::format("{}, PGN {}", name, pgn_words(pgn));
  return "PGN " + pgn_words(pgn);
}

std::string dtc_words(const Schema& schema, const Dtc& dtc) {
  std::string text = fmt::format("SPN {} FMI {}: ", dtc.spn, dtc.fmi);
  if (const auto subject = schema.spn_text(dtc.spn))
    text += printable_utf8(*subject) + ", ";
  else
    text += is_proprietary_spn(dtc.spn) ? "proprietary to the manufacturer, " : "not in the schema, ";
  text += printable_utf8(schema.fmi_text(dtc.fmi));
  if (dtc.occurrence_count) text += "; " + counted(*dtc.occurrence_count, "time", "times");
  if (dtc.old_conversion) text += "; the SPN may be encoded in an older way";
  return text;
}

std::string name_words(Name name) {
  return fmt::format("{} {} of {} {}, {}; manufacturer code {}, identity number {}, ECU instance {}; NAME {}",
                     function_term(name), name.function_instance(),
                     device_class_term(name.industry_group(), name.device_class()),
                     name.device_class_instance(), industry_group_term(name.industry_group()),
                     name.manufacturer_code(), name.identity_number(), name.ecu_instance(), name.hex());
}

std::string quoted_text(Bytes bytes) {
  if (bytes.empty()) return {};
  const std::size_t shown = std::min(bytes.size(), kMaxRemarkChars);
  std::string text = "\"" + printable_latin1(bytes.first(shown)) + "\"";
  if (shown < bytes.size())
    text += fmt::format(" and {}", counted(bytes.size() - shown, "more byte", "more bytes"));
  return text;
}

std::string short_hex(Bytes bytes) {
  const std::size_t shown = std::min(bytes.size(), kMaxRemarkBytes);
  std::string text = hex_bytes(bytes.first(shown));
  if (shown < bytes.size())
    text += fmt::format(" and {}", counted(bytes.size() - shown, "more byte", "more bytes"));
  return text;
}

std::string object_id_words(std::uint16_t id) {
  return id == 0xFFFF ? "none" : fmt::format("{}", id);
}

CivilDate civil_date(std::uint32_t days) {
  // Counted in eras of 400 years from 0000-03-01, so that the leap day comes last.
  const std::uint32_t shifted = days + 719468;
  const std::uint32_t era = shifted / 146097;
  const std::uint32_t of_era = shifted % 146097;
  const std::uint32_t year = (of_era - of_era / 1460 + of_era / 36524 - of_era / 146096) / 365;
  const std::uint32_t of_year = of_era - (365 * year + year / 4 - year / 100);
  const std::uint32_t month = (5 * of_year + 2) / 153;  // 0 = March
  CivilDate date;
  date.day = of_year - (153 * month + 2) / 5 + 1;
  date.month = month < 10 ? month + 3 : month - 9;
  date.year = static_cast<int>(year + era * 400 + (date.month <= 2 ? 1 : 0));
  return date;
}

std::string days_and_time_words(std::uint32_t days, std::uint32_t ten_thousandths) {
  const CivilDate date = civil_date(days);
  const std::uint32_t seconds = ten_thousandths / 10000;
  return fmt::format("{:04}-{:02}-{:02} {:02}:{:02}:{:02}.{:04}", date.year, date.month, date.day,
                     seconds / 3600, seconds / 60 % 60, seconds % 60, ten_thousandths % 10000);
}

void remark_too_short(std::vector<Remark>& remarks, const Message& message, std::size_t needed) {
  remarks.push_back({"too short", fmt::format("{} where {} are needed",
                                              counted(message.data.size(), "byte", "bytes"), needed)});
}

}  // namespace tramlog
