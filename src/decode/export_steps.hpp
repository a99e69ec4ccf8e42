// Readings gathered by steps of time: a row for each step and sender.
#pragma once

#include <array>
#include <compare>
#include <cstdint>
#include <map>
#include <string>
#include <string_view>
#include <vector>

#include "base/result.hpp"
#include "base/table.hpp"
#include "base/time.hpp"
#include "decode/export_columns.hpp"
#include "decode/export_tally.hpp"

namespace tramlog {

/// What the readings of a step become.
enum class Take : std::uint8_t { last, mean, min, max };
/// "last", "mean", "min", "max".
std::string_view take_word(Take take);
/// "last,mean"; fails (usage) for other words and for none. Each counts once.
Result<std::vector<Take>> parse_takes(std::string_view text);
/// A period as people give it: "250ms", "1s", "0.5s", "5m", "1h", or seconds without a letter. From 1 ms to
/// 366 days, whole milliseconds; else a usage error.
Result<SpanNs> parse_period(std::string_view text);

/// Steps begin at whole multiples of the period since 1970 UTC. A row for each step and sender (bus, address,
/// with process data also element) of whom something chosen was heard, with the beginning of the step as its
/// time. All chosen signals of a sender share a row. Rows come out by step, bus (in the order of first
/// sight), address (11-bit identifiers have none and come last), element. Only valid readings count; of the
/// others the remarks tell how many there were ("WheelBasedSpeed: error (3 of 10)"). A signal that was heard
/// without any valid reading is null.
///
/// A step ends when a reading of another step comes. If the capture's clock goes back, steps begin anew, so
/// that a step may come twice; a reading that is late by up to a tenth of the period, at most 10 ms (frames
/// of several buses), still counts for the step that runs.
///
/// Memory: senders x columns, at most kMaxCells.
class StepTable {
 public:
  static constexpr std::size_t kMaxCells = 250'000;  // some 50 MB

  /// For a sender to find its row again without looking it up.
  struct Memory {
    std::uint64_t serial = 0;
    std::size_t row = 0;
  };
  struct Sender {
    std::uint32_t bus = 0;
    std::uint32_t source = 0;  // 256: none
    std::int32_t element = -1;
    auto operator<=>(const Sender&) const = default;
  };

  /// `row` hands on the finished row: cells for time, bus, source, controller and, with `with_element`,
  /// element, then the values and the remarks.
  StepTable(const std::vector<SignalColumn>& columns, SpanNs every, std::vector<Take> takes, bool code_words,
            bool with_element, TableWriter& out, TableId table);

  /// Tells that `sender` speaks at `time`; the following add() are its. False: no room for it.
  bool speaks(TimeNs time, const Sender& sender, std::string_view bus, std::string_view controller,
              Memory& memory);
  void add(std::size_t column, const Reading& reading);
  void add_number(std::size_t column, const Number& value);
  void finish() { close_step(); }

  std::uint64_t rows() const { return rows_; }
  std::uint64_t left_out() const { return left_out_; }

 private:
  struct Gathered {
    Tally tally;
    const std::string* words = nullptr;  // of the last code
    std::string characters;
    std::uint32_t heard = 0;
    std::array<std::uint32_t, 6> doubts{};  // by Validity
  };
  struct Row {
    Sender sender;
    std::string bus, controller;
    std::vector<Gathered> gathered;  // by column
  };

  void close_step();
  void tell(Row& row);
  void tell_column(std::size_t column, const Gathered& gathered);

  const std::vector<SignalColumn>& columns_;
  SpanNs every_;
  std::vector<Take> takes_;
  bool code_words_, with_element_;
  TableWriter& out_;
  TableId table_;
  std::uint64_t serial_ = 1;  // of the step, in order of appearance
  bool running_ = false;
  TimeNs step_ = 0;  // its beginning
  std::vector<Row> pool_;
  std::map<Sender, std::size_t> rows_by_sender_;
  std::size_t used_ = 0;  // rows of the pool that this step has
  Row* row_ = nullptr;    // who speaks
  std::vector<Cell> cells_;
  std::vector<std::string> texts_;
  std::string remarks_;
  std::uint64_t rows_ = 0, left_out_ = 0;
};

}  // namespace tramlog
