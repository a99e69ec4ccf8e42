#include "decode/export_steps.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <charconv>
#include <utility>

#include "base/text.hpp"

namespace tramlog {
namespace {

constexpr SpanNs kMostLateness = 10 * kMillisecond;
constexpr SpanNs kShortestPeriod = kMillisecond;
constexpr SpanNs kLongestPeriod = 366 * 24 * kHour;
constexpr std::uint32_t kNoSource = 256;

/// The beginning of the step that holds `time`.
TimeNs step_of(TimeNs time, SpanNs every) {
  SpanNs into = time % every;
  if (into < 0) into += every;
  return later_by(time, -into);
}

}  // namespace

std::string_view take_word(Take take) {
  static constexpr std::string_view kWords[] = {"last", "mean", "min", "max"};
  return kWords[static_cast<std::size_t>(take)];
}

Result<std::vector<Take>> parse_takes(std::string_view text) {
  std::vector<Take> takes;
  for (std::size_t at = 0; at <= text.size();) {
    const std::size_t comma = std::min(text.find(',', at), text.size());
    const std::string_view word = trimmed(text.substr(at, comma - at));
    at = comma + 1;
    bool known = false;
    for (const Take take : {Take::last, Take::mean, Take::min, Take::max}) {
      if (word != take_word(take)) continue;
      known = true;
      if (std::find(takes.begin(), takes.end(), take) == takes.end()) takes.push_back(take);
    }
    if (!known)
      return Error{ErrorKind::usage, fmt::format("unknown word \"{}\"", word), "--take",
                   "give one or more of last, mean, min, max, with commas between"};
  }
  return takes;
}

Result<SpanNs> parse_period(std::string_view text) {
  const Error error{ErrorKind::usage, fmt::format("\"{}\" is no period", text), "--every",
                    "give 1ms to 366 days in whole milliseconds, for example 250ms, 1s, 5m or 1h"};
  double value = 0;
  const auto [stop, fault] = std::from_chars(text.data(), text.data() + text.size(), value);
  if (fault != std::errc{} || !(value > 0)) return error;
  const std::string_view unit = text.substr(static_cast<std::size_t>(stop - text.data()));
  if (unit == "ms")
    value *= static_cast<double>(kMillisecond);
  else if (unit == "s" || unit.empty())
    value *= static_cast<double>(kSecond);
  else if (unit == "m" || unit == "min")
    value *= static_cast<double>(kMinute);
  else if (unit == "h")
    value *= static_cast<double>(kHour);
  else
    return error;
  if (value < static_cast<double>(kShortestPeriod) || value > static_cast<double>(kLongestPeriod))
    return error;
  // A decimal fraction of a second is no exact double; a nanosecond beside the millisecond is still that one.
  const auto ns = static_cast<SpanNs>(value + 0.5);
  const SpanNs whole = (ns + kMillisecond / 2) / kMillisecond * kMillisecond;
  if (ns - whole > 1 || whole - ns > 1) return error;
  return whole;
}

StepTable::StepTable(const std::vector<SignalColumn>& columns, SpanNs every, std::vector<Take> takes,
                     bool code_words, bool with_element, TableWriter& out, TableId table)
    : columns_(columns),
      every_(every),
      takes_(std::move(takes)),
      code_words_(code_words),
      with_element_(with_element),
      out_(out),
      table_(table),
      texts_(columns.size()) {}

bool StepTable::speaks(TimeNs time, const Sender& sender, std::string_view bus, std::string_view controller,
                       Memory& memory) {
  const SpanNs into = running_ ? span_between(step_, time) : 0;
  const bool same = running_ && into < every_ && into >= -std::min(kMostLateness, every_ / 10);
  if (!same) {
    close_step();
    running_ = true;
    step_ = step_of(time, every_);
  }
  if (memory.serial != serial_ || memory.row >= used_ || pool_[memory.row].sender != sender) {
    const auto found = rows_by_sender_.find(sender);
    std::size_t row = used_;
    if (found != rows_by_sender_.end()) {
      row = found->second;
    } else {
      if ((used_ + 1) * columns_.size() > kMaxCells) {
        ++left_out_;
        return false;
      }
      if (used_ == pool_.size()) pool_.emplace_back();
      rows_by_sender_.emplace(sender, used_++);
      pool_[row].sender = sender;
      pool_[row].bus = bus;
      pool_[row].gathered.assign(columns_.size(), {});
    }
    pool_[row].controller = controller;
    memory = {serial_, row};
  }
  row_ = &pool_[memory.row];
  return true;
}

void StepTable::add(std::size_t column, const Reading& reading) {
  Gathered& gathered = row_->gathered[column];
  ++gathered.heard;
  if (reading.validity != Validity::valid) {
    ++gathered.doubts[static_cast<std::size_t>(reading.validity)];
    return;
  }
  if (columns_[column].kind == SignalColumn::Kind::characters)
    gathered.characters = characters_of(reading);
  else if (!is_finite(reading.value))
    return;
  gathered.words = reading.text;
  gathered.tally.add(reading.value);
}

void StepTable::add_number(std::size_t column, const Number& value) {
  Gathered& gathered = row_->gathered[column];
  ++gathered.heard;
  gathered.tally.add(value);
}

void StepTable::close_step() {
  for (const auto& [sender, row] : rows_by_sender_) tell(pool_[row]);
  rows_by_sender_.clear();
  used_ = 0;
  ++serial_;
  row_ = nullptr;
}

void StepTable::tell(Row& row) {
  cells_.clear();
  remarks_.clear();
  cells_.push_back(Cell::of_time(step_));
  cells_.push_back(Cell::of_text(row.bus));
  cells_.push_back(row.sender.source == kNoSource ? Cell{} : Cell::of_integer(row.sender.source));
  cells_.push_back(Cell::of_text(row.controller));
  if (with_element_) cells_.push_back(row.sender.element < 0 ? Cell{} : Cell::of_integer(row.sender.element));
  for (std::size_t column = 0; column < columns_.size(); ++column) tell_column(column, row.gathered[column]);
  cells_.push_back(remarks_.empty() ? Cell{} : Cell::of_text(remarks_));
  out_.row(table_, cells_);
  ++rows_;
}

void StepTable::tell_column(std::size_t column, const Gathered& gathered) {
  const SignalColumn& c = columns_[column];
  for (std::size_t validity = 0; validity < gathered.doubts.size(); ++validity) {
    const auto kind = static_cast<Validity>(validity);
    if (gathered.doubts[validity] == 0 || !is_doubtful(kind)) continue;
    remarks_ +=
        fmt::format("{}{}: {} ({} of {})", remarks_.empty() ? "" : "; ", c.name,
                    validity_words(kind, c.signal->command), gathered.doubts[validity], gathered.heard);
  }
  const bool many = c.kind == SignalColumn::Kind::number || c.kind == SignalColumn::Kind::process_data;
  const Cell none = gathered.heard == 0 ? Cell{} : Cell::of_null();
  if (gathered.tally.count() == 0) {
    cells_.insert(cells_.end(), many ? takes_.size() : 1, none);
  } else if (c.kind == SignalColumn::Kind::characters) {
    cells_.push_back(Cell::of_text(gathered.characters));
  } else if (c.kind == SignalColumn::Kind::code) {
    cells_.push_back(code_words_ && gathered.words != nullptr
                         ? Cell::of_text(safe_text(*gathered.words, texts_[column]))
                         : Cell::of_number(gathered.tally.last()));
  } else {
    for (const Take take : takes_) {
      const Tally& tally = gathered.tally;
      if (take == Take::mean) {
        constexpr double kFiner = 100;
        const Number mean = tally.mean();
        cells_.push_back(
            Cell::of_number(c.conversion ? convert(mean, *c.conversion, c.resolution / kFiner) : mean));
      } else {
        cells_.push_back(Cell::of_number(shown_number(c, take == Take::last  ? tally.last()
                                                         : take == Take::min ? tally.smallest()
                                                                             : tally.largest())));
      }
    }
  }
}

}  // namespace tramlog
