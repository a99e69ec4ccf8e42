#include "wire/motion.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <variant>

#include "can/error_frame.hpp"
#include "can/wire_bits.hpp"
#include "isobus/network.hpp"
#include "isobus/process_data.hpp"

namespace tramlog {
namespace {

// signals.md: PTO output shaft: B1-2 0.125 rpm.
constexpr Pgn kRearPto = 0xFE43, kFrontPto = 0xFE44;
constexpr double kPtoStep = 0.125;
constexpr std::uint16_t kLargestValue = 0xFAFF;  // network and diagnostics 1.4
// process-data.md 5.2: 141 one state, 161-176 sixteen states of two bits; 01 = on.
constexpr std::uint16_t kActualWorkState = 141, kFirstCondensed = 161, kLastCondensed = 176;
constexpr std::size_t kMaxErrors = 10'000;

std::string ago(TimeNs then, TimeNs now) {
  const double seconds = std::max(0.0, to_seconds(span_between(then, now)));
  return seconds < 9.95 ? fmt::format("{:.1f} s ago", seconds) : fmt::format("{:.0f} s ago", seconds);
}

constexpr unsigned kPositioning = static_cast<unsigned>(SpeedSource::positioning);

bool is_work_state(std::uint16_t ddi) {
  return ddi == kActualWorkState || (ddi >= kFirstCondensed && ddi <= kLastCondensed);
}

unsigned sections_on(std::uint32_t raw) {
  unsigned on = 0;
  for (unsigned i = 0; i < 32; i += 2) on += (raw >> i & 3) == 1;
  return on;
}

}  // namespace

MotionGuard::MotionGuard(TimeNs listening_since, MotionLimits limits)
    : since_(listening_since), limits_(limits) {}

void MotionGuard::take(const Event& event) {
  if (event.kind == EventKind::error) return take_error(event);
  if (event.kind == EventKind::notice && event.notice != nullptr) {
    if (std::holds_alternative<FramesLost>(*event.notice)) frames_lost_ = event.time;
    if (const auto* link = std::get_if<LinkChange>(event.notice)) link_down_ = link->state != LinkState::up;
    return;
  }
  if (event.kind != EventKind::frame) return;
  link_down_ = false;
  roll(event.time);
  bits_ += wire_bits(event);
  if (event.is_iso11783()) take_frame(event);
}

void MotionGuard::take_frame(const Event& frame) {
  const Pgn pgn = pgn_of(frame.id);
  const Bytes data{frame.data, frame.len};
  if (const auto source = speed_source_of(pgn)) {
    const auto told = parse_speed(pgn, data);
    if (told) meters_[static_cast<std::size_t>(*source)][source_of(frame.id)] = {told->mm_s.value_or(0) / 1000, frame.time, told->mm_s.has_value()};
    return;
  }
  switch (pgn) {
    case kRearPto:
    case kFrontPto:
      if (frame.len >= 2) {
        const std::uint16_t raw = load_le16(frame.data);
        meters_[pgn == kRearPto ? rear_pto : front_pto][source_of(frame.id)] = {raw * kPtoStep, frame.time, raw <= kLargestValue};
      }
      return;
    case kPgnProcessData:
      return take_process_data(frame);
    case kPgnAddressClaimed:
      return take_claim(frame);
    default:
      return;
  }
}

void MotionGuard::take_process_data(const Event& frame) {
  const auto message = parse_process_message({frame.data, frame.len});
  if (!message || message->command != ProcessCommand::value || !is_work_state(message->variable.ddi)) return;
  const StateKey key{source_of(frame.id), message->variable.element, message->variable.ddi};
  const auto known = states_.find(key);
  if (known != states_.end()) {
    known->second = {message->raw, frame.time};
  } else if (states_.size() < kMaxStates) {
    states_.emplace(key, State{message->raw, frame.time});
  } else {
    too_many_states_ = true;
  }
}

// Another unit took the address over: what the one before had told is no longer true of anybody.
void MotionGuard::take_claim(const Event& frame) {
  if (frame.len != 8) return;
  const Address address = source_of(frame.id);
  if (address >= kNullAddress) return;
  const Name name = Name::from_claim(frame.data);
  const auto [known, is_new] = names_.emplace(address, name);
  if (is_new || known->second == name) return;
  known->second = name;
  std::erase_if(states_, [&](const auto& entry) { return entry.first.address == address; });
  for (auto& meter : meters_) meter[address] = {};
}

void MotionGuard::take_error(const Event& error) {
  std::uint32_t classes = error.id & ~(error_frame::kArbitrationLost | error_frame::kCounters | error_frame::kRestarted);
  if ((classes & error_frame::kController) != 0 && error.len >= 2 && error.data[1] == error_frame::kActiveAgain)
    classes &= ~error_frame::kController;
  if (classes == 0) return;
  if (errors_.size() == kMaxErrors) {
    errors_.pop_front();
    more_errors_ = true;
  }
  errors_.push_back(error.time);
}

void MotionGuard::roll(TimeNs now) {
  const std::int64_t second = std::max<SpanNs>(0, span_between(since_, now)) / kSecond;
  if (second <= second_) return;
  bits_before_ = second == second_ + 1 ? bits_ : 0;
  bits_ = 0;
  second_ = second;
}

std::optional<double> MotionGuard::load(TimeNs now) {
  roll(now);
  if (second_ == 0 || limits_.bitrate == 0) return std::nullopt;
  return static_cast<double>(bits_before_) / limits_.bitrate;
}

bool MotionGuard::knows_speed(TimeNs now) const {
  for (std::size_t meter = 0; meter < kSpeedSources; ++meter)
    for (const Value& value : meters_[meter])
      if (value.valid && span_between(value.time, now) <= limits_.stale) return true;
  return false;
}

std::vector<std::string> MotionGuard::reasons_not_to_transmit(TimeNs now) {
  std::vector<std::string> reasons;
  if (const SpanNs listened = span_between(since_, now); listened < limits_.listen)
    reasons.push_back(fmt::format("listened for {:.1f} s only; {:.0f} s are needed",
                                  std::max(0.0, to_seconds(listened)), to_seconds(limits_.listen)));
  tell_meters(now, reasons);
  tell_states(now, reasons);
  if (const auto part = load(now); part && *part > limits_.load)
    reasons.push_back(fmt::format("bus load {:.0f} %", *part * 100));
  while (!errors_.empty() && span_between(errors_.front(), now) > limits_.error_window) errors_.pop_front();
  if (errors_.empty()) more_errors_ = false;
  if (!errors_.empty())
    reasons.push_back(fmt::format("{}{} error frame{} in the last {:.0f} s", more_errors_ ? "over " : "",
                                  errors_.size(), errors_.size() == 1 ? "" : "s",
                                  to_seconds(limits_.error_window)));
  if (span_between(frames_lost_, now) <= limits_.error_window)
    reasons.push_back("frames were lost on this side " + ago(frames_lost_, now));
  if (link_down_) reasons.push_back("the interface is down");
  return reasons;
}

std::vector<std::string> MotionGuard::reasons_machine_moves(TimeNs now) const {
  std::vector<std::string> reasons;
  tell_meters(now, reasons);
  tell_states(now, reasons);
  return reasons;
}

const char* MotionGuard::meter_words(unsigned meter) {
  if (meter == rear_pto) return "rear PTO shaft speed";
  if (meter == front_pto) return "front PTO shaft speed";
  return speed_source_term(static_cast<SpeedSource>(meter));
}

void MotionGuard::tell_meters(TimeNs now, std::vector<std::string>& reasons) const {
  for (unsigned meter = 0; meter < kMeters; ++meter) {
    const Value* most = nullptr;
    for (const Value& value : meters_[meter])
      if (value.valid && span_between(value.time, now) <= limits_.stale &&
          (!most || value.value > most->value))
        most = &value;
    if (!most) continue;
    const bool shaft = meter >= rear_pto;
    const double limit = shaft           ? limits_.pto_rpm
                         : meter == kPositioning ? limits_.standstill_gnss_m_s
                                         : limits_.standstill_m_s;
    if (most->value <= limit) continue;
    const double kmh = most->value * 3.6;
    const std::string amount =
        shaft ? fmt::format("{:.0f} rpm", most->value) : fmt::format("{:.{}f} km/h", kmh, kmh < 0.1 ? 3 : 1);
    reasons.push_back(fmt::format("{} is {} ({})", meter_words(meter), amount, ago(most->time, now)));
  }
}

void MotionGuard::tell_states(TimeNs now, std::vector<std::string>& reasons) const {
  struct Works {
    bool whole = false;
    unsigned sections = 0;
    TimeNs whole_told = 0, sections_told = 0;
  };
  std::map<Address, Works> working;
  for (const auto& [key, state] : states_) {
    if (key.ddi == kActualWorkState) {
      if ((state.raw & 3) != 1) continue;
      Works& works = working[key.address];
      works.whole_told = works.whole ? std::max(works.whole_told, state.time) : state.time;
      works.whole = true;
    } else if (const unsigned on = sections_on(state.raw); on != 0) {
      Works& works = working[key.address];
      works.sections_told = works.sections ? std::max(works.sections_told, state.time) : state.time;
      works.sections += on;
    }
  }
  for (const auto& [address, works] : working) {
    if (works.whole)
      reasons.push_back(
          fmt::format("work state of address 0x{:02X} is on (told {})", address, ago(works.whole_told, now)));
    if (works.sections != 0)
      reasons.push_back(fmt::format("{} section{} of address 0x{:02X} {} on (told {})", works.sections,
                                    works.sections == 1 ? "" : "s", address,
                                    works.sections == 1 ? "is" : "are", ago(works.sections_told, now)));
  }
  if (too_many_states_) reasons.push_back("more work states are told than can be watched");
}

}  // namespace tramlog
