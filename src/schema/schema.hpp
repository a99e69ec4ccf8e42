// What is known of messages and signals: layers of DBC files, the data dictionary, and the texts of trouble
// codes.
#pragma once

#include <cstdint>
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "base/bytes.hpp"
#include "base/time.hpp"
#include "can/can_id.hpp"
#include "schema/dbc_file.hpp"
#include "schema/dictionary.hpp"
#include "schema/reading.hpp"
#include "schema/signal_plan.hpp"
#include "schema/trouble_texts.hpp"

namespace tramlog {

struct MessageSpec;

/// Which codes are reserved (fact sheet, signals, 5).
enum class CodeRule : std::uint8_t { iso11783, nmea2000, none };

struct SignalSpec {
  std::string name;     // as in the file, unique in its message
  std::string title;    // for people: the comment's first sentence, else the name
  std::string comment;  // whole
  std::string unit;     // "" = none
  std::uint32_t start_bit = 0;
  std::uint16_t bit_length = 0;
  ByteOrder order = ByteOrder::little;
  Encoding encoding = Encoding::unsigned_integer;
  Decimal factor{1, 0}, offset{0, 0};
  std::optional<Decimal> minimum, maximum;
  std::vector<CodeName> codes;          // sorted by code
  std::vector<Validity> code_validity;  // what each of `codes` says about the value, by its text
  std::vector<CodeSlot> slots;  // by raw value: 1 bit, and up to 8 bits with codes. Where a rule holds and
                                // 0, 1 and all ones have names, a code without one is reserved
  bool all_valid = false;       // attribute Codes = "all-valid": no code is reserved
  std::optional<std::uint32_t> spn;
  CodeRule rule = CodeRule::none;
  bool command = false;     // attribute Purpose = "command": all ones means no action
  bool characters = false;  // unit "ASCII": one character a byte; shown as text
  std::int32_t multiplexor =
      -1;  // index in MessageSpec::signals, always smaller than its own; -1: always there
  std::vector<RawRange> present_for;  // raw values of the multiplexor
  std::uint32_t line = 0;
  const MessageSpec* message = nullptr;
  SignalPlan plan;
};

/// How a message comes (attribute Sending; "cyclic" if it has a cycle time and says nothing else).
enum class Sending : std::uint8_t { unknown, cyclic, while_active, on_change, on_request };

struct MessageSpec {
  std::uint32_t id = 0;
  bool extended = false;
  bool exact_only = false;  // 11-bit, or attribute VFrameFormat says that the identifier is no PGN
  Pgn pgn = 0;              // of a 29-bit identifier
  std::string name;
  std::string title;  // comment's first sentence, else the name
  std::string comment;
  std::string sender;  // node
  std::uint32_t length = 0;
  SpanNs period = 0;  // GenMsgCycleTime; 0 = not told
  Sending sending = Sending::unknown;
  std::vector<SignalSpec> signals;  // multiplexors before what they choose, else by place in the message
  bool multiplexed = false;         // some signals have a multiplexor
  std::uint32_t line = 0;
  std::uint16_t layer = 0;  // index in Schema::layers()
};

/// One file that was added.
struct SchemaLayer {
  std::string name;  // "dbc/tractor.dbc" for ours, else as the user gave it
  bool built_in = false;
  std::size_t messages = 0, signals = 0;
  std::size_t entries = 0;              // of a table: data dictionary, texts of trouble codes
  std::vector<SchemaProblem> problems;  // of the file, and conflicts with earlier layers (warnings)
  std::uint64_t problems_left_out = 0;
};

/// A const Schema may be asked by several threads at the same time. What reads a message is made when the
/// message is handed out for the first time.
class Schema {
 public:
  Schema();
  ~Schema();
  Schema(Schema&&) noexcept;
  Schema& operator=(Schema&&) noexcept;

  /// Our own dbc/ folder, compiled into the program. Made at the first call.
  static const Schema& built_in();
  /// A fresh schema with the same content, to add layers to.
  static Schema with_built_in();

  /// Adds a checked DBC file as the latest layer. Where an earlier layer has a message for the same senders,
  /// the later one counts, and the layer gets a warning that names both places.
  void add(DbcFile file, bool built_in = false);
  /// Adds or replaces entries (process-data.csv, trouble-codes.csv).
  void add(Dictionary dictionary, bool built_in = false);
  void add(TroubleTexts texts, bool built_in = false);

  /// The message for an identifier as it is on the bus. The exact identifier wins; then PGN, source and
  /// (PDU1) destination with any priority; then PGN and source; then the PGN alone: the entry whose source is
  /// the null address (0xFE, "anybody"), else any. Among equals the later layer, within a layer the first.
  /// Null if nothing is known.
  const MessageSpec* find(std::uint32_t id, bool extended) const;
  /// The same for a message that came by a transfer, which has no priority.
  const MessageSpec* find(Pgn pgn, Address source, Address destination) const;

  const std::vector<SchemaLayer>& layers() const;
  /// Every message that find() can return, in the order of 29-bit by PGN and identifier, then 11-bit by
  /// identifier.
  std::vector<const MessageSpec*> messages() const;
  /// Where a message or a line of it is described: "dbc/tractor.dbc:42".
  std::string source_line(const MessageSpec& message, std::uint32_t line) const;
  /// PGNs of data page 1 whose messages are longer than a frame: on this bus they travel as fast packet (fact
  /// sheet, network and diagnostics, 5.3). In no order.
  std::vector<Pgn> long_page_1_pgns() const;
  const Dictionary& dictionary() const;
  const TroubleTexts& trouble_texts() const;
  /// Text for an SPN: trouble-codes.csv, else the controller that 2000 to 2255 stand for, else the title of a
  /// signal with that SPN. None if unknown.
  std::optional<std::string> spn_text(std::uint32_t spn) const;
  /// Text for an FMI: trouble-codes.csv, else "reserved (FMI 25)".
  std::string fmi_text(std::uint8_t fmi) const;

 private:
  struct Impl;
  std::unique_ptr<Impl> impl_;
};

/// Takes the signals out of a message in the order of MessageSpec::signals; those that the multiplexors do
/// not choose are left out. `out` is cleared first and keeps its memory.
void read_signals(const MessageSpec& message, Bytes data, std::vector<Reading>& out);
/// One signal; none if a multiplexor does not choose it.
std::optional<Reading> read_signal(const SignalSpec& signal, Bytes data);

/// Builds a MessageSpec from a checked DBC message (Schema::add uses it; tests may). SignalSpec::message is
/// not set.
MessageSpec make_message_spec(DbcMessage&& message, const DbcFile& file);

}  // namespace tramlog
