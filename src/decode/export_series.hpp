// Chosen signals as one table: a row a message, or a row a step of time and sender.
#pragma once

#include <array>
#include <cstdint>
#include <memory>
#include <optional>
#include <string>
#include <unordered_map>
#include <vector>

#include "base/table.hpp"
#include "decode/export_buses.hpp"
#include "decode/export_columns.hpp"
#include "decode/export_process.hpp"
#include "decode/export_steps.hpp"
#include "decode/interpreter.hpp"
#include "decode/talk_memory.hpp"

namespace tramlog {

struct SeriesOptions {
  bool code_words = true;            // codes as their words, else as numbers
  std::string time_column = "time";  // and it comes first
  std::string table = "series";
  SpanNs every = 0;                     // ns, the length of a step; 0: a row a message
  std::vector<Take> takes{Take::last};  // what a step's readings become; codes, multiplexors, texts: the last
};

/// Columns: time, bus, source (address), controller (label or term), element (number; only with process
/// data), one for each signal (several with several takes), remarks. With takes other than just `last` the
/// names end in the take ("Speed mean").
///
/// A row a message: signals of other messages are absent, those without a value null; what is wrong with a
/// reading stands in the remarks ("KeySwitchState: error"); a number out of range is kept.
///
/// A row a step: see StepTable.
class SeriesExport final : public DecodeSink {
 public:
  /// Names that a signal's column must not have.
  static std::vector<std::string> fixed_columns(const SeriesOptions& options);

  /// Adds its table to `out`, which must outlive it, as must what `columns` point to.
  SeriesExport(std::vector<SignalColumn> columns, const SeriesOptions& options, TableWriter& out);

  void on_message(const DecodedMessage& message) override;
  void on_event(const Event&) override {}
  void on_bus(const Event& announcement) override { buses_.take(announcement); }
  /// The last step.
  void finish();

  std::uint64_t rows() const { return steps_ ? steps_->rows() : rows_; }
  /// Readings that found no room, because too many senders spoke within one step.
  std::uint64_t left_out() const { return steps_ ? steps_->left_out() : 0; }
  /// The table's columns that hold signals, with the index of the signal in `columns`.
  const std::vector<std::pair<std::string, std::size_t>>& value_columns() const { return value_columns_; }

 private:
  /// What is known of a Talk.
  struct Known {
    const std::vector<std::int32_t>* places = nullptr;  // column by signal of the message; -1: none
    std::string controller;                             // safe to write
    StepTable::Memory step;
  };

  struct Process {
    std::size_t column = 0;
    std::int32_t element = 0;
    Number value;  // in the dictionary's unit
  };

  Known make_known(const Talk& talk) const;
  void tell_row(const DecodedMessage& message, const Known& known, const std::optional<Process>& process);
  void tally_step(const DecodedMessage& message, Known& known, const std::optional<Process>& process);
  /// None if the message carries no value that was chosen.
  std::optional<Process> process_of(const DecodedMessage& message) const;

  std::vector<SignalColumn> columns_;
  SeriesOptions options_;
  TableWriter& out_;
  TableId table_ = 0;
  std::unordered_map<const MessageSpec*, std::vector<std::int32_t>> places_;
  std::unordered_map<std::uint16_t, std::size_t> process_places_;  // column by DDI
  std::vector<std::pair<std::string, std::size_t>> value_columns_;
  TalkMemory<Known> talks_;
  BusNames buses_;
  std::size_t first_value_ = 0;
  std::vector<Cell> cells_;
  std::vector<std::string> texts_;  // one a column: what cells point to
  std::string remarks_;
  std::uint64_t rows_ = 0;
  std::unique_ptr<StepTable> steps_;
};

}  // namespace tramlog
