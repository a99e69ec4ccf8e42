#include "exam/words.hpp"

#include <fmt/format.h>

#include "isobus/name.hpp"

namespace tramlog {

std::string address_words(Address address) {
  return fmt::format("{} (0x{:02X})", address, address);
}

std::string pgn_words(Pgn pgn) {
  return fmt::format("{} (0x{:04X})", pgn, pgn);
}

std::string controller_words(const Conclusions& all, std::size_t index) {
  const ControllerRecord& c = all.controllers[index];
  const std::string what = c.label.empty() ? function_term(c.name) : c.label;
  if (c.address == kNullAddress) return what + " (no address)";
  return fmt::format("{} (address {}, 0x{:02X})", what, c.address, c.address);
}

std::string voice_words(const Conclusions& all, std::optional<std::size_t> controller, Address address) {
  return controller ? controller_words(all, *controller) : "the unclaimed address " + address_words(address);
}

std::string controllers_words(const Conclusions& all, const std::vector<std::size_t>& controllers) {
  constexpr std::size_t kNamed = 6;
  std::string text;
  const std::size_t named = std::min(controllers.size(), kNamed);
  const bool more = controllers.size() > named;
  for (std::size_t i = 0; i < named; ++i) {
    if (i > 0) text += i + 1 == named && !more ? " and " : ", ";
    text += controller_words(all, controllers[i]);
  }
  if (more) text += fmt::format(" and {} more", controllers.size() - named);
  return text;
}

std::string mark_words(const Mark& mark) {
  if (mark.frame == 0) return format_time_of_day(mark.time);
  return fmt::format("{} (frame {})", format_time_of_day(mark.time), mark.frame);
}

std::string counted(std::uint64_t count, const char* singular, const char* plural) {
  return fmt::format("{} {}", count, count == 1 ? singular : plural);
}

const char* protocol_code(Carrier carrier) {
  switch (carrier) {
    case Carrier::bam:
      return "bam";
    case Carrier::rts_cts:
      return "rts-cts";
    case Carrier::etp:
      return "etp";
    case Carrier::fast_packet:
      return "fast-packet";
    case Carrier::single:
      break;
  }
  return "single";
}

std::string failure_words(const TransferEnd& end) {
  std::string words;
  switch (end.outcome) {
    case TransferOutcome::aborted:
      words = "was aborted by " + (end.aborted_by ? address_words(*end.aborted_by) : "a party unknown");
      if (end.abort_reason) words += ": " + abort_reason_text(*end.abort_reason, end.protocol);
      break;
    case TransferOutcome::timed_out:
      words = "timed out";
      break;
    case TransferOutcome::interrupted:
      words = "was cut short by a new one of the same sender";
      break;
    case TransferOutcome::unseen:
      words = "was not heard whole, because the recorder lost frames";
      break;
    case TransferOutcome::unfinished:
      words = "was still running at the end";
      break;
    case TransferOutcome::complete:
    case TransferOutcome::out_of_order:
      words = "lost a packet that was not repeated";
      break;
  }
  return words + fmt::format(" after {} of {} bytes", end.bytes_received, end.bytes_expected);
}

const char* outcome_code(TransferOutcome outcome) {
  switch (outcome) {
    case TransferOutcome::complete:
      return "complete";
    case TransferOutcome::aborted:
      return "aborted";
    case TransferOutcome::timed_out:
      return "timed-out";
    case TransferOutcome::interrupted:
      return "interrupted";
    case TransferOutcome::out_of_order:
      return "out-of-order";
    case TransferOutcome::unseen:
      return "unseen";
    case TransferOutcome::unfinished:
      break;
  }
  return "unfinished";
}

namespace {
const RollcallEntry* entry_of(const Conclusions& all, std::size_t controller) {
  if (!all.rollcall) return nullptr;
  for (const RollcallEntry& entry : all.rollcall->entries)
    if (entry.controller == controller) return &entry;
  return nullptr;
}
}  // namespace

SideGuess side_of(const Conclusions& all, std::size_t controller) {
  if (const RollcallEntry* entry = entry_of(all, controller); entry && !entry->side.empty())
    return {entry->side == "implement", true};
  const Name name = all.controllers[controller].name;
  // Classes 0 and 1 of group 2 are the tractor's and its cab's; every other class is an implement's.
  return {name.industry_group() == 2 && name.device_class() > 1, false};
}

std::string supply_of(const Conclusions& all, std::size_t controller) {
  const RollcallEntry* entry = entry_of(all, controller);
  return entry ? entry->supply : std::string();
}

}  // namespace tramlog
