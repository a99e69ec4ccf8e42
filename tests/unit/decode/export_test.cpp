#include <sqlite3.h>
#include <unistd.h>

#include <catch2/catch.hpp>
#include <deque>
#include <filesystem>
#include <fstream>
#include <iterator>

#include "decode/export_database.hpp"
#include "decode/export_events.hpp"
#include "decode/export_series.hpp"
#include "io/table_writer.hpp"

using namespace tramlog;

namespace {

// 2026-04-07T06:12:00Z is 1775542320 s after 1970.
constexpr TimeNs kTime = 1'775'542'320 * kSecond;

constexpr const char* kDbc = R"(VERSION ""
BO_ 2365475070 WheelSpeed: 8 Vector__XXX
 SG_ Speed : 0|16@1+ (0.001,0) [0|64.255] "m/s" Vector__XXX
 SG_ KeySwitch : 58|2@1+ (1,0) [0|3] "" Vector__XXX
 SG_ Hours : 48|8@1+ (1,0) [0|250] "h" Vector__XXX

BO_ 2365474046 Hitch: 8 Vector__XXX
 SG_ Position : 0|8@1+ (0.4,0) [0|100] "%" Vector__XXX
 SG_ speed : 8|8@1+ (1,0) [0|250] "m/s" Vector__XXX
 SG_ source : 16|8@1+ (1,0) [0|250] "" Vector__XXX

BO_ 2365474302 HITCH: 8 Vector__XXX
 SG_ Position : 0|8@1+ (0.4,0) [0|100] "%" Vector__XXX

CM_ SG_ 2365475070 Speed "Speed of the wheels. From the gearbox.";
BA_DEF_ SG_ "SPN" INT 0 524287;
BA_DEF_ BO_ "GenMsgCycleTime" INT 0 65535;
BA_ "SPN" SG_ 2365475070 Speed 1862;
BA_ "GenMsgCycleTime" BO_ 2365475070 100;
VAL_ 2365475070 KeySwitch 0 "off" 1 "not, quite \"off\"" 2 "error" 3 "not available" ;
)";

Number exact(std::uint64_t magnitude, std::uint8_t decimals, bool negative = false) {
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
  Bench() {
    DbcFile file = parse_dbc(kDbc, "test.dbc");
    check_dbc(file);
    schema.add(std::move(file));
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
                   Bytes data = {}) {
    DecodedMessage message;
    message.talk = &talk;
    message.time = time;
    message.first_frame = 41;
    message.last_frame = 42;
    message.data = data;
    message.readings = readings;
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

std::string path_for(const std::string& name) {
  return (std::filesystem::temp_directory_path() / (std::to_string(::getpid()) + name)).string();
}

SeriesOptions stepped(SpanNs every, std::vector<Take> takes) {
  SeriesOptions options;
  options.every = every;
  options.takes = std::move(takes);
  return options;
}

}  // namespace

TEST_CASE("export: a row a message, as CSV by hand") {
  Bench bench;
  const std::string path = path_for("series.csv");
  auto writer = make_csv_writer(path);
  REQUIRE(writer.ok());
  SeriesExport series(bench.columns({"WheelSpeed.*", "Position"}), {}, **writer);
  Bench::announce(series, 0, "can0");
  const Talk& speed = bench.talk(bench.speed);
  const Talk& hitch = bench.talk(bench.hitch, 0, 128, "metering, \"front\"\n");
  const auto* rate = Bench::signal(bench.speed, "Speed");
  const auto* key = Bench::signal(bench.speed, "KeySwitch");
  const auto* hours = Bench::signal(bench.speed, "Hours");
  const auto* position = Bench::signal(bench.hitch, "Position");
  Bench::send(series, speed, kTime,
              {Bench::valid(rate, exact(2500, 3)), Bench::coded(key, 1, Validity::valid),
               Bench::valid(hours, exact(12, 0))});
  Bench::send(series, hitch, kTime + 1, {Bench::valid(position, exact(504, 1))});
  Bench::send(series, speed, kTime + 2,
              {Bench::without(rate, Validity::error, 0xFE00), Bench::coded(key, 2, Validity::error),
               Bench::without(hours, Validity::not_available, 255)});
  Reading beyond = Bench::valid(hours, exact(251, 0));
  beyond.validity = Validity::out_of_range;
  Bench::send(series, speed, kTime + kSecond,
              {Bench::without(rate, Validity::cut_off), Bench::coded(key, 0, Validity::valid), beyond});
  Bench::send(series, hitch, kTime + kSecond,
              {Bench::valid(Bench::signal(bench.hitch, "source"), exact(1, 0))});  // nothing chosen
  series.finish();
  REQUIRE((*writer)->finish().ok());
  std::ifstream in(path, std::ios::binary);
  const std::string csv{std::istreambuf_iterator<char>(in), {}};
  std::filesystem::remove(path);
  CHECK(csv ==
        "time,bus,source,controller,Speed [m/s],Hours [h],KeySwitch,Hitch.Position [%],HITCH.Position_2 [%],"
        "remarks\r\n"
        "2026-04-07T06:12:00.000000000Z,can0,240,tractor ECU,2.500,12,\"not, quite \"\"off\"\"\",,,\r\n"
        "2026-04-07T06:12:00.000000001Z,can0,128,\"metering, \"\"front\"\"\\x0a\",,,,50.4,,\r\n"
        "2026-04-07T06:12:00.000000002Z,can0,240,tractor ECU,,,,,,Speed: error; KeySwitch: error\r\n"
        "2026-04-07T06:12:01.000000000Z,can0,240,tractor ECU,,251,off,,,"
        "Speed: cut off; Hours: out of range\r\n");
  CHECK(series.rows() == 4);
}

TEST_CASE("export: which columns, in which order, under which names") {
  Bench bench;
  const auto names = [&](const std::vector<std::string>& signals) {
    std::string text;
    for (const SignalColumn& column : bench.columns(signals)) text += column.name + " [" + column.unit + "] ";
    return text;
  };
  CHECK(names({"KeySwitch", "Hours", "KeySwitch"}) == "KeySwitch [] Hours [h] ");
  CHECK(names({"speed"}) == "Hitch.speed [m/s] WheelSpeed.Speed [m/s] ");
  CHECK(names({"Hitch.source"}) == "Hitch.source [] ");  // "source" is a column already
  CHECK(names({"ddi:7", "spn:1862", "ddi:9"}) == "DDI 7 Actual Rate [mg/m2] Speed [m/s] DDI 9 [] ");
  CHECK(bench.columns({"spn:1862"}, UnitChoice::all(UnitSystem::metric))[0].unit == "km/h");
  DecodeFilter messages;
  messages.messages = {"WheelSpeed"};
  auto whole = choose_columns(bench.schema, messages, std::nullopt, {});
  REQUIRE(whole.ok());
  CHECK(whole->size() == 3);
  messages.signals = {"Speed", "Position"};  // both must hold
  whole = choose_columns(bench.schema, messages, std::nullopt, {});
  REQUIRE(whole.ok());
  REQUIRE(whole->size() == 1);
  CHECK(whole->front().name == "Speed");
  DecodeFilter wrong;
  wrong.signals = {"Sped"};
  const auto error = choose_columns(bench.schema, wrong, std::nullopt, {});
  REQUIRE(!error.ok());
  CHECK(error.error().kind == ErrorKind::usage);
  CHECK(error.error().remedy.find("Speed") != std::string::npos);
}

TEST_CASE("export: null and absent, codes as numbers, another controller at the address") {
  Bench bench;
  Paper paper;
  SeriesOptions options;
  options.code_words = false;
  SeriesExport series(bench.columns({"KeySwitch", "Hours"}), options, paper);
  Talk& talk = bench.talk(bench.speed);
  const auto* key = Bench::signal(bench.speed, "KeySwitch");
  const auto* hours = Bench::signal(bench.speed, "Hours");
  Bench::send(series, talk, kTime, {Bench::coded(key, 1, Validity::valid)});
  talk.from.words = "sprayer";
  ++talk.generation;
  Bench::send(series, talk, kTime, {Bench::without(hours, Validity::not_available, 255)});
  Talk& plain = bench.talk(bench.speed, 0, 7, "");
  plain.extended = false;
  Bench::send(series, plain, kTime, {Bench::valid(hours, exact(3, 0))});
  CHECK(paper.rows == std::vector<std::string>{"series:0||240|tractor ECU|1||",
                                               "series:0||240|sprayer||null|",
                                               "series:0||||"
                                               "|3|"});
}

TEST_CASE("export: values of process data by element") {
  Bench bench;
  Paper paper;
  SeriesExport series(bench.columns({"ddi:7", "ddi:513", "Hours"}), {}, paper);
  CHECK(paper.heading(0) ==
        "time,bus,source,controller,element,DDI 7 Actual Rate [mg/m2],DDI 513,Hours [h],remarks");
  const Talk& talk = bench.talk(nullptr, 0, 131, "sprayer");
  // Element 0x123, value command (3), DDI 7, value 1000 (0.1 mg/m2 each).
  std::vector<std::uint8_t> data{0x33, 0x12, 0x07, 0x00, 0xE8, 0x03, 0x00, 0x00};
  Bench::send(series, talk, kTime, {}, data);
  data[2] = 0x01, data[3] = 0x02;  // DDI 513, -1
  data[4] = data[5] = data[6] = data[7] = 0xFF;
  Bench::send(series, talk, kTime, {}, data);
  data[0] = 0x32;  // asks for the value
  Bench::send(series, talk, kTime, {}, data);
  data.pop_back();  // too short
  data[0] = 0x33;
  Bench::send(series, talk, kTime, {}, data);
  CHECK(paper.rows ==
        std::vector<std::string>{"series:0||131|sprayer|291|100.0|||", "series:0||131|sprayer|291||-1||"});
}

TEST_CASE("export: a tally keeps readings exact and rounds the mean to two more places") {
  Tally tally;
  for (const Number& n : {exact(2501, 3), exact(2500, 3), exact(5, 1 + 2, true), exact(2501, 3)})
    tally.add(n);
  CHECK(tally.count() == 4);
  CHECK(format_number(tally.last()) == "2.501");
  CHECK(format_number(tally.smallest()) == "-0.005");
  CHECK(format_number(tally.largest()) == "2.501");
  CHECK(format_number(tally.mean()) == "1.87425");  // 7.497 / 4
  Tally thirds;
  for (const std::uint64_t n : {1, 1, 0}) thirds.add(exact(n, 0));
  CHECK(format_number(thirds.mean()) == "0.67");
  Tally negative;
  for (const std::uint64_t n : {1, 0, 0, 0, 0, 0, 0, 0}) negative.add(exact(n, 0, n > 0));
  CHECK(format_number(negative.mean()) == "-0.13");  // -0.125
  CHECK(format_number(negative.smallest()) == "-1");
  Tally huge;
  huge.add(exact(UINT64_MAX, 0));
  huge.add(exact(UINT64_MAX, 0));
  CHECK(huge.mean().to_double() == 18446744073709551615.0);
  Tally real;
  for (const double d : {0.5, 0.25, 0.75, 0.5}) {
    Number n;
    n.kind = Number::Kind::real;
    n.real = d;
    real.add(n);
  }
  CHECK(format_number(real.mean()) == "0.5");
  CHECK(real.smallest().real == 0.25);
  CHECK(real.largest().real == 0.75);
  Tally mixed;  // places that differ
  mixed.add(exact(15, 1));
  mixed.add(exact(2, 0));
  CHECK(mixed.mean().to_double() == 1.75);
  CHECK(format_number(mixed.smallest()) == "1.5");
}

TEST_CASE("export: steps of a second, several takes") {
  Bench bench;
  Paper paper;
  SeriesExport series(bench.columns({"WheelSpeed.Speed", "KeySwitch", "Hitch.Position"}),
                      stepped(kSecond, {Take::last, Take::mean, Take::min, Take::max}), paper);
  // Message names do not mind capitals: there are two messages of that name.
  CHECK(
      paper.heading(0) ==
      "time,bus,source,controller,"
      "Speed last [m/s],Speed mean [m/s],Speed min [m/s],Speed max [m/s],KeySwitch last,"
      "Hitch.Position last [%],Hitch.Position mean [%],Hitch.Position min [%],Hitch.Position max [%],"
      "HITCH.Position_2 last [%],HITCH.Position_2 mean [%],HITCH.Position_2 min [%],HITCH.Position_2 max [%],"
      "remarks");
  Bench::announce(series, 0, "can0");
  Bench::announce(series, 1, "can1");
  const Talk& speed = bench.talk(bench.speed);
  const Talk& other = bench.talk(bench.speed, 1, 10, "other");
  const Talk& hitch = bench.talk(bench.hitch);  // the same sender as `speed`
  const auto* rate = Bench::signal(bench.speed, "Speed");
  const auto* key = Bench::signal(bench.speed, "KeySwitch");
  const auto* position = Bench::signal(bench.hitch, "Position");
  const auto ms = [](int n) { return kTime + n * kMillisecond; };
  Bench::send(series, other, ms(0), {Bench::valid(rate, exact(1, 3))});
  Bench::send(series, speed, ms(100),
              {Bench::valid(rate, exact(1000, 3)), Bench::coded(key, 1, Validity::valid)});
  Bench::send(series, hitch, ms(150), {Bench::without(position, Validity::not_available)});
  Bench::send(series, speed, ms(200),
              {Bench::valid(rate, exact(2001, 3)), Bench::coded(key, 0, Validity::valid)});
  Bench::send(series, speed, ms(300),
              {Bench::valid(rate, exact(500, 3)), Bench::coded(key, 2, Validity::error)});
  Bench::send(series, speed, ms(999), {Bench::without(rate, Validity::error)});
  CHECK(paper.rows.empty());
  Bench::send(series, hitch, ms(1000), {Bench::valid(position, exact(4, 1))});
  // 3501 / 3 = 1167.0: exact to two more places.
  const std::vector<std::string> first = {
      "series:0|can0|240|tractor ECU|0.500|1.16700|0.500|2.001|off|null|null|null|null|||||"
      "Speed: error (1 of 4); KeySwitch: error (1 of 3)",
      "series:0|can1|10|other|0.001|0.00100|0.001|0.001||||||||||"};
  CHECK(paper.rows == first);
  series.finish();
  REQUIRE(paper.rows.size() == 3);
  CHECK(paper.rows[2] == "series:1000|can0|240|tractor ECU||||||0.4|0.400|0.4|0.4|||||");
  CHECK(series.rows() == 3);
}

TEST_CASE("export: steps lie on whole multiples of the period; the clock may go back") {
  Bench bench;
  Paper paper;
  SeriesExport series(bench.columns({"Hours"}), stepped(250 * kMillisecond, {Take::max}), paper);
  CHECK(paper.heading(0) == "time,bus,source,controller,Hours [h],remarks");
  const Talk& talk = bench.talk(bench.speed);
  const auto* hours = Bench::signal(bench.speed, "Hours");
  const auto at = [&](TimeNs time, std::uint64_t value) {
    Bench::send(series, talk, time, {Bench::valid(hours, exact(value, 0))});
  };
  at(kTime + 249 * kMillisecond, 1);
  at(kTime + 250 * kMillisecond, 2);
  at(kTime + 245 * kMillisecond, 9);  // 5 ms late: counts for the step that runs
  at(kTime + 239 * kMillisecond, 3);  // 11 ms late: the clock went back
  at(kTime + 260 * kMillisecond, 4);
  at(kTime + 10 * kSecond + 1, 5);  // steps without readings have no row
  series.finish();
  CHECK(paper.rows ==
        std::vector<std::string>{"series:0||240|tractor ECU|1|", "series:250||240|tractor ECU|9|",
                                 "series:0||240|tractor ECU|3|", "series:250||240|tractor ECU|4|",
                                 "series:10000||240|tractor ECU|5|"});
  // Before 1970 and at both ends of time.
  Paper far;
  SeriesExport ends(bench.columns({"Hours"}), stepped(kHour, {Take::last}), far);
  for (const TimeNs time : {INT64_MIN, TimeNs{-1}, TimeNs{0}, INT64_MAX})
    Bench::send(ends, talk, time, {Bench::valid(hours, exact(1, 0))});
  ends.finish();
  CHECK(far.rows.size() == 4);
}

TEST_CASE("export: too many senders in one step are left out and counted") {
  Bench bench;
  Paper paper;
  std::vector<SignalColumn> columns = bench.columns({"ddi:7"});
  SeriesExport series(columns, stepped(kSecond, {Take::last}), paper);
  const auto send = [&](unsigned element, const Talk& talk) {
    const std::vector<std::uint8_t> data{static_cast<std::uint8_t>(0x03 | element << 4),
                                         static_cast<std::uint8_t>(element >> 4),
                                         7,
                                         0,
                                         1,
                                         0,
                                         0,
                                         0};
    Bench::send(series, talk, kTime, {}, data);
  };
  constexpr unsigned kElements = 4096, kSources = 62;  // 253,952 rows of one column
  for (unsigned source = 0; source < kSources; ++source) {
    const Talk& talk = bench.talk(nullptr, 0, static_cast<Address>(source), "x");
    for (unsigned element = 0; element < kElements; ++element) send(element, talk);
  }
  series.finish();
  CHECK(series.rows() == StepTable::kMaxCells);
  CHECK(series.left_out() == kElements * kSources - StepTable::kMaxCells);
}

TEST_CASE("export: periods and takes as people write them") {
  const auto period = [](const char* text) {
    const auto result = parse_period(text);
    return result ? result.value() : SpanNs{-1};
  };
  CHECK(period("1s") == kSecond);
  CHECK(period("250ms") == 250 * kMillisecond);
  CHECK(period("0.1s") == 100 * kMillisecond);
  CHECK(period("0.001") == kMillisecond);
  CHECK(period("5m") == 5 * kMinute);
  CHECK(period("1h") == kHour);
  CHECK(period("8784h") == 366 * 24 * kHour);
  for (const char* bad :
       {"", "s", "0", "-1s", "0.5ms", "1.5ms", "1e99s", "nan", "inf", "1 s", "1d", "8785h", "1ss"})
    CHECK(period(bad) == -1);
  const auto takes = parse_takes("max, last,max");
  REQUIRE(takes.ok());
  CHECK(takes.value() == std::vector<Take>{Take::max, Take::last});
  CHECK(!parse_takes("").ok());
  CHECK(!parse_takes("mean,").ok());
  CHECK(!parse_takes("median").ok());
}

TEST_CASE("export: events as a table") {
  Paper paper;
  EventExport events(paper, "time");
  Bench::announce(events, 1, "can1");
  const std::uint8_t data[8] = {0, 4, 0, 0, 0, 0, 0, 129};
  Event event;
  event.kind = EventKind::error;
  event.time = kTime;
  event.number = 5;
  event.bus = 1;
  event.id = 4;
  event.data = data;
  event.len = 8;
  events.on_event(event);
  const Notice notices[] = {Counters{10, std::nullopt, UINT64_MAX}, LinkChange{LinkState::down},
                            FramesLost{3}, Damage{100, 20, "block lengths differ", 0}, BusInfo{"can1", 0}};
  Event notice;
  notice.kind = EventKind::notice;
  notice.time = kTime;
  notice.bus = 1;
  for (const Notice& n : notices) {
    notice.notice = &n;
    events.on_event(notice);
  }
  // The sentences are tested where they are made: only their place counts here.
  std::vector<std::string> rows = paper.rows;
  for (std::string& row : rows) {
    std::size_t at = 0;
    for (int i = 0; i < 4; ++i) at = row.find('|', at) + 1;
    row.erase(at, row.find('|', at) - at);
  }
  CHECK(rows == std::vector<std::string>{"event:0|can1|5|error-frame||4|0004000000000081|||||||",
                                         "event:0|can1||statistics||||10||9223372036854775807||||",
                                         "event:0|can1||link||||||||down||",
                                         "event:0|can1||frames-lost|||||||3|||",
                                         "event:0|can1||damage|||||||||100|20"});
}

namespace {

/// What a query gives: fields separated by |, rows by /.
std::string ask(const std::string& path, const std::string& sql) {
  sqlite3* database = nullptr;
  REQUIRE(sqlite3_open_v2(path.c_str(), &database, SQLITE_OPEN_READONLY, nullptr) == SQLITE_OK);
  sqlite3_stmt* statement = nullptr;
  const int prepared = sqlite3_prepare_v2(database, sql.c_str(), -1, &statement, nullptr);
  INFO(sql << ": " << sqlite3_errmsg(database));
  REQUIRE(prepared == SQLITE_OK);
  std::string out;
  while (sqlite3_step(statement) == SQLITE_ROW) {
    if (!out.empty()) out += "/";
    for (int i = 0; i < sqlite3_column_count(statement); ++i) {
      const auto* text = reinterpret_cast<const char*>(sqlite3_column_text(statement, i));
      out += std::string(i > 0 ? "|" : "") + (text == nullptr ? "NULL" : text);
    }
  }
  sqlite3_finalize(statement);
  sqlite3_close(database);
  return out;
}

}  // namespace

TEST_CASE("export: a database with a table a message") {
  Bench bench;
  const std::string path = path_for("export.sqlite");
  auto writer = make_sqlite_writer(path);
  REQUIRE(writer.ok());
  DatabaseExport database(bench.schema, {}, std::nullopt, true, **writer);
  Bench::announce(database, 0, "can0");
  const Talk& speed = bench.talk(bench.speed);
  const Talk& hitch = bench.talk(bench.hitch, 0, 128, "metering front");
  const Talk& other = bench.talk(bench.other_hitch, 0, 128, "metering front");
  const Talk& unknown = bench.talk(nullptr);
  const auto* rate = Bench::signal(bench.speed, "Speed");
  const auto* key = Bench::signal(bench.speed, "KeySwitch");
  const auto* hours = Bench::signal(bench.speed, "Hours");
  Bench::send(database, speed, kTime,
              {Bench::valid(rate, exact(2500, 3)), Bench::coded(key, 1, Validity::valid),
               Bench::valid(hours, exact(12, 0))});
  Reading beyond = Bench::valid(hours, exact(251, 0));
  beyond.validity = Validity::out_of_range;
  Bench::send(
      database, speed, kTime + 1'500'000'000,
      {Bench::without(rate, Validity::not_available, 0xFFFF), Bench::coded(key, 2, Validity::error), beyond});
  Bench::send(database, hitch, kTime, {Bench::valid(Bench::signal(bench.hitch, "source"), exact(9, 0))});
  Bench::send(database, other, kTime,
              {Bench::valid(Bench::signal(bench.other_hitch, "Position"), exact(504, 1))});
  Bench::send(database, unknown, kTime, {});
  const Notice lost = FramesLost{3};
  Event event;
  event.kind = EventKind::notice;
  event.notice = &lost;
  event.time = kTime;
  database.on_event(event);
  REQUIRE((*writer)->finish().ok());
  CHECK(database.rows() == 4);
  CHECK(database.unknown_messages() == 1);

  CHECK(ask(path, "SELECT * FROM WheelSpeed") ==
        "1775542320000000000|can0|240|255|tractor ECU|a00c8a0008400001|42|2.5|12|1/"
        "1775542321500000000|can0|240|255|tractor ECU|a00c8a0008400001|42|NULL|251|NULL");
  CHECK(ask(path, "SELECT typeof(Speed), typeof(Hours), typeof(KeySwitch) FROM WheelSpeed LIMIT 1") ==
        "real|integer|integer");
  CHECK(
      ask(path, "SELECT type FROM pragma_table_info('WheelSpeed') WHERE name IN ('Speed', 'Hours', 'bus')") ==
      "TEXT/REAL/INTEGER");
  CHECK(ask(path, "SELECT time, Hours FROM WheelSpeed_readable WHERE Speed IS NULL") ==
        "2026-04-07T06:12:01.500Z|251");
  const std::string sql = ask(path, "SELECT sql FROM sqlite_master WHERE name = 'WheelSpeed'");
  CHECK(sql.find("\"Speed\" REAL,  -- m/s; Speed of the wheels\n") != std::string::npos);
  CHECK(ask(path,
            "SELECT unit, spn, title, minimum, maximum, resolution, period_ms, schema_source, message_name, "
            "signal_name FROM signal WHERE message = 'WheelSpeed' AND signal = 'Speed'") ==
        "m/s|1862|Speed of the wheels|0.0|64.255|0.001|100.0|test.dbc|WheelSpeed|Speed");
  CHECK(ask(path, "SELECT code, text FROM code WHERE message = 'WheelSpeed' AND signal = 'KeySwitch'") ==
        "0|off/1|not, quite \"off\"/2|error/3|not available");
  CHECK(ask(path, "SELECT message, time_ns, bus, source, frame, signal, state, raw FROM doubt") ==
        "WheelSpeed|1775542321500000000|can0|240|42|KeySwitch|error|2/"
        "WheelSpeed|1775542321500000000|can0|240|42|Hours|out-of-range|251");
  CHECK(ask(path, "SELECT kind, frames_lost FROM event") == "frames-lost|3");

  // Names that a database takes for one.
  CHECK(ask(path, "SELECT source_2, source FROM Hitch") == "9|128");
  CHECK(ask(path, "SELECT Position FROM HITCH_2") == "50.4");
  CHECK(ask(path, "SELECT message_name FROM signal WHERE message = 'HITCH_2'") == "HITCH");
  CHECK(ask(path, "SELECT signal_name FROM signal WHERE signal = 'source_2'") == "source");
  CHECK(database.notes().size() == 2);

  CHECK(ask(path,
            "EXPLAIN QUERY PLAN SELECT Speed FROM WheelSpeed WHERE time_ns >= 1775542320000000000 AND "
            "time_ns < 1775542321000000000")
            .find("USING INDEX WheelSpeed by time_ns (time_ns>? AND time_ns<?)") != std::string::npos);
  std::filesystem::remove(path);
}

TEST_CASE("export: chosen signals and other units in a database") {
  Bench bench;
  Paper paper;
  const auto units = UnitChoice::all(UnitSystem::metric);
  DatabaseExport database(bench.schema, bench.columns({"WheelSpeed.Speed"}), units, false, paper);
  const Talk& talk = bench.talk(bench.speed);
  Bench::send(database, talk, kTime,
              {Bench::valid(Bench::signal(bench.speed, "Speed"), exact(2500, 3)),
               Bench::valid(Bench::signal(bench.speed, "Hours"), exact(1, 0))});
  REQUIRE(paper.tables.size() == 4);  // no events
  CHECK(paper.heading(3) == "time_ns,bus,source,destination,controller,name,frame,Speed [km/h]");
  REQUIRE(paper.rows.size() == 2);
  CHECK(paper.rows[1] == "WheelSpeed:0||240|255|tractor ECU|a00c8a0008400001|42|9.000");
}

TEST_CASE("export: names kept for the database itself") {
  NameSet names{"Taken"};
  CHECK(names.take("free") == "free");
  CHECK(names.take("FREE") == "FREE_2");
  CHECK(names.take("free") == "free_3");
  CHECK(names.take("taken") == "taken_2");
  CHECK(names.take("SQLite_stat1") == "x_SQLite_stat1");
  CHECK(names.take("") == "x_");
}
