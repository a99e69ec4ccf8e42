// Decoded messages as tables of a database: one typed table a message, and tables that tell what is in it.
//
//   <Message>  time_ns, bus, source, destination, controller, name, frame, then a column a signal (unit in
//              the table's text). A signal that the message does not carry or that has no value is NULL. With it
//              comes the view <Message>_readable, with times and codes in words. Process data (PGN 51968)
//              also has ddi_name, value and unit: what a value (command 3 or 10) means by the data
//              dictionary.
//   signal     message, signal (names as in this database), message_name, signal_name (in the schema), unit,
//              spn, title, minimum, maximum, resolution, period_ms, schema_source. A signal that found no room in
//              its table has NULL as signal
//   code       message, signal, code (as in the column), text
//   doubt      message, time_ns, bus, source, frame, signal, state ("error", "reserved", "out-of-range",
//              "cut-off"), raw: readings that are neither valid nor simply not available; a number out of
//              range also stands in its table
//   remark     message, time_ns, bus, source, controller, frame, name, text: what no signal can hold (lists,
//              texts, split fields), as decode tells it
//   event      see EventTable
#pragma once

#include <deque>
#include <memory>
#include <optional>
#include <string>
#include <unordered_map>
#include <vector>

#include "base/table.hpp"
#include "decode/export_buses.hpp"
#include "decode/export_columns.hpp"
#include "decode/export_events.hpp"
#include "decode/export_process.hpp"
#include "decode/interpreter.hpp"
#include "decode/talk_memory.hpp"

namespace tramlog {

/// The tables `signal` and `code`.
class SignalTables {
 public:
  SignalTables(const Schema& schema, TableWriter& out);
  void add(const std::string& table, const std::string& column, const SignalColumn& signal);
  /// A signal that has no column.
  void add_left_out(const std::string& table, const SignalColumn& signal);

 private:
  void add_row(const std::string& table, const Cell& column, const SignalColumn& signal);

  const Schema& schema_;
  TableWriter& out_;
  TableId signals_ = 0, codes_ = 0;
};

/// What a user should know about the tables.
struct ExportNote {
  std::string what, remedy;
};

class DatabaseExport final : public DecodeSink {
 public:
  /// Of messages that `chosen` has no signal of, all signals are taken; so are those of process data if
  /// `chosen` has the value of a DDI. Without `events` the table `event` is left out. What is given must outlive this.
  DatabaseExport(const Schema& schema, const std::vector<SignalColumn>& chosen,
                 const std::optional<UnitChoice>& units, bool events, TableWriter& out);

  void on_message(const DecodedMessage& message) override;
  void on_event(const Event& event) override;
  void on_bus(const Event& announcement) override { buses_.take(announcement); }

  std::uint64_t rows() const { return rows_; }
  std::uint64_t unknown_messages() const { return unknown_messages_; }
  /// Single frames of transfers that did not become messages, without a table of their own.
  std::uint64_t loose_frames() const { return loose_frames_; }
  /// Names that had to be changed and signals that found no room, a sentence each.
  const std::vector<ExportNote>& notes() const { return notes_; }

 private:
  struct MessageTable {
    TableId table = 0;
    std::string name;
    std::vector<std::int32_t> places;  // column by signal of the message; -1: none
    std::vector<SignalColumn> columns;
    std::vector<std::string> names;  // of the columns
    bool process_data = false;       // has the columns that say what a value means
  };
  struct Known {
    MessageTable* table = nullptr;
    std::string controller, name;
  };

  Known make_known(const Talk& talk);
  MessageTable& table_of(const MessageSpec& message);
  std::vector<const SignalSpec*> signals_of(const MessageSpec& message, bool process_data) const;
  void add_signals(const MessageSpec& message, std::vector<const SignalSpec*> signals, MessageTable& made,
                   Table& table);
  void note(std::string what, std::string remedy);
  void tell_remarks(const DecodedMessage& message, const Known& known);
  void tell_doubt(const DecodedMessage& message, const MessageTable& table, std::size_t column,
                  const Reading& reading);

  std::unordered_map<const MessageSpec*, std::vector<const SignalSpec*>> chosen_;
  std::optional<UnitChoice> units_;
  TableWriter& out_;
  SignalTables signals_;
  TableId doubts_ = 0, remarks_ = 0;
  ProcessVariables variables_;
  bool process_chosen_ = false;  // the value of some DDI
  std::unique_ptr<EventTable> events_;
  NameSet names_;
  BusNames buses_;
  std::unordered_map<const MessageSpec*, MessageTable> tables_;
  TalkMemory<Known> talks_;
  std::vector<Cell> cells_;        // kFixed ones, those of process data if there are any, then the signals'
  std::deque<std::string> texts_;  // what cells point to
  std::vector<ExportNote> notes_;
  std::uint64_t rows_ = 0, unknown_messages_ = 0, loose_frames_ = 0;
};

}  // namespace tramlog
