// Messages put together by hand, and a table on paper, for the tests of the export.
#pragma once

#include <unistd.h>

#include <catch2/catch.hpp>
#include <deque>
#include <filesystem>
#include <string>
#include <vector>

#include "decode/export_series.hpp"

namespace tramlog::export_test {

// 2026-04-07T06:12:00Z is 1775542320 s after 1970.
inline constexpr TimeNs kTime = 1'775'542'320 * kSecond;

inline constexpr const char* kDbc = R"(VERSION ""
BO_ 2365475070 WheelSpeed: 8 Anybody
 SG_ Speed : 0|16@1+ (0.001,0) [0|64.255] "m/s" Anybody
 SG_ KeySwitch : 58|2@1+ (1,0) [0|3] "" Anybody
 SG_ Hours : 48|8@1+ (1,0) [0|250] "h" Anybody

BO_ 2365474046 Hitch: 8 Anybody
 SG_ Position : 0|8@1+ (0.4,0) [0|100] "%" Anybody
 SG_ speed : 8|8@1+ (1,0) [0|250] "m/s" Anybody
 SG_ source : 16|8@1+ (1,0) [0|250] "" Anybody

BO_ 2365474302 HITCH: 8 Anybody
 SG_ Position : 0|8@1+ (0.4,0) [0|100] "%" Anybody

CM_ SG_ 2365475070 Speed "Speed of the wheels. From the gearbox.";
BA_DEF_ SG_ "SPN" INT 0 524287;
BA_DEF_ BO_ "GenMsgCycleTime" INT 0 65535;
BA_ "SPN" SG_ 2365475070 Speed 1862;
BA_ "GenMsgCycleTime" BO_ 2365475070 100;
VAL_ 2365475070 KeySwitch 0 "off" 1 "not, quite \"off\"" 2 "error" 3 "not available" ;
)";

inline Number exact(std::uint64_t magnitude, std::uint8_t decimals, bool negative = false) {
  Number number;
  number.magnitude = magnitude;
  number.decimals = decimals;
  number.negative = negative;
  return number;
}

/// Rows as text: absent fields are empty, null is "null", times are milliseconds after kTime.
class Paper final : public TableWriter {
 public:
  TableId add_table(Table table) override {
    tables.push_back(std::move(table));
    return tables.size() - 1;
  }
  void row(TableId table, std::span<const Cell> cells) override {
    std::string line = tables[table].name + ":";
    for (std::size_t i = 0; i < cells.size(); ++i) {
      if (i > 0) line += "|";
      const Cell& cell = cells[i];
      if (cell.kind == Cell::Kind::null) line += "null";
      if (cell.kind == Cell::Kind::time)
        line += std::to_string(span_between(kTime, cell.integer) / kMillisecond);
      if (cell.kind == Cell::Kind::integer) line += std::to_string(cell.integer);
      if (cell.kind == Cell::Kind::number) line += format_number(cell.number);
      if (cell.kind == Cell::Kind::text) line += cell.text;
    }
    rows.push_back(line);
  }
  bool failed() const override { return false; }
  Result<bool> finish() override { return true; }

  std::string heading(TableId table) const {
    std::string line;
    for (const Column& column : tables[table].columns)
      line += (line.empty() ? "" : ",") + column.name + (column.unit.empty() ? "" : " [" + column.unit + "]");
    return line;
  }

  std::vector<Table> tables;
  std::vector<std::string> rows;
};

/// Messages put together by hand.
class Bench {
 public:
  explicit Bench(const std::string& more = "") {
    DbcFile file = parse_dbc(kDbc, "test.dbc");
    check_dbc(file);
    schema.add(std::move(file));
    if (!more.empty()) {
      DbcFile second = parse_dbc(more, "more.dbc");
      check_dbc(second);
      schema.add(std::move(second));
    }
    Dictionary dictionary;
    dictionary.entries[7] = {7, "Actual Rate", "mg/m2", Decimal{1, -1}, false, 1};
    schema.add(std::move(dictionary));
    for (const MessageSpec* spec : schema.messages()) specs.push_back(spec);
    speed = find("WheelSpeed");
    hitch = find("Hitch");
    other_hitch = find("HITCH");
  }

  const MessageSpec* find(const std::string& name) const {
    for (const MessageSpec* spec : specs)
      if (spec->name == name) return spec;
    FAIL("no message " << name);
    return nullptr;
  }
  static const SignalSpec* signal(const MessageSpec* spec, const std::string& name) {
    for (const SignalSpec& signal : spec->signals)
      if (signal.name == name) return &signal;
    FAIL("no signal " << name);
    return nullptr;
  }

  /// One (message, bus, source).
  Talk& talk(const MessageSpec* spec, BusIndex bus = 0, Address source = 240,
             const std::string& words = "tractor ECU") {
    Talk talk;
    talk.slot = static_cast<std::uint32_t>(talks.size());
    talk.generation = 1;
    talk.spec = spec;
    talk.pgn = spec == nullptr ? 0xCB00 : spec->pgn;
    talk.from = {bus, source, Name(0xa00c8a0008400001), words};
    talk.to.address = 255;
    talks.push_back(talk);
    return talks.back();
  }

  static Reading valid(const SignalSpec* signal, const Number& value) {
    Reading reading;
    reading.signal = signal;
    reading.value = value;
    reading.raw = value.magnitude;
    reading.validity = Validity::valid;
    return reading;
  }
  static Reading coded(const SignalSpec* signal, std::uint64_t code, Validity validity) {
    Reading reading = valid(signal, exact(code, 0));
    reading.raw = code;
    reading.validity = validity;
    for (const CodeName& name : signal->codes)
      if (name.code == static_cast<std::int64_t>(code)) reading.text = &name.text;
    return reading;
  }
  static Reading without(const SignalSpec* signal, Validity validity, std::uint64_t raw = 0) {
    Reading reading;
    reading.signal = signal;
    reading.raw = raw;
    reading.validity = validity;
    return reading;
  }

  static void send(DecodeSink& sink, const Talk& talk, TimeNs time, const std::vector<Reading>& readings,
                   Bytes data = {}, const std::vector<Remark>& remarks = {}) {
    DecodedMessage message;
    message.talk = &talk;
    message.time = time;
    message.first_frame = 41;
    message.last_frame = 42;
    message.data = data;
    message.readings = readings;
    message.remarks = remarks;
    sink.on_message(message);
  }
  static void announce(DecodeSink& sink, BusIndex bus, const std::string& name) {
    const Notice notice = BusInfo{name, 250'000};
    Event event;
    event.kind = EventKind::notice;
    event.notice = &notice;
    event.bus = bus;
    sink.on_bus(event);
  }

  std::vector<SignalColumn> columns(const std::vector<std::string>& signals,
                                    const std::optional<UnitChoice>& units = {}) {
    DecodeFilter filter;
    filter.signals = signals;
    auto chosen =
        choose_columns(schema, filter, std::nullopt, units, SeriesExport::fixed_columns(SeriesOptions{}));
    REQUIRE(chosen.ok());
    return *chosen;
  }

  Schema schema;
  std::vector<const MessageSpec*> specs;
  const MessageSpec *speed, *hitch, *other_hitch;
  std::deque<Talk> talks;
};

inline std::string path_for(const std::string& name) {
  return (std::filesystem::temp_directory_path() / (std::to_string(::getpid()) + name)).string();
}

inline SeriesOptions stepped(SpanNs every, std::vector<Take> takes) {
  SeriesOptions options;
  options.every = every;
  options.takes = std::move(takes);
  return options;
}

}  // namespace tramlog::export_test
