#include <catch2/catch.hpp>
#include <filesystem>
#include <fstream>
#include <iterator>

#include "decode/export_events.hpp"
#include "decode/export_series.hpp"
#include "io/table_writer.hpp"
#include "unit/decode/export_bench.hpp"

using namespace tramlog;
using namespace tramlog::export_test;

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
  data[0] = 0x3A;  // sets the value and wants it acknowledged
  data[4] = 0xFE;
  Bench::send(series, talk, kTime, {}, data);
  data[0] = 0x32;  // asks for the value
  Bench::send(series, talk, kTime, {}, data);
  data.pop_back();  // too short
  data[0] = 0x33;
  Bench::send(series, talk, kTime, {}, data);
  CHECK(paper.rows == std::vector<std::string>{"series:0||131|sprayer|291|100.0|||",
                                               "series:0||131|sprayer|291||-1||",
                                               "series:0||131|sprayer|291||-2||"});
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

TEST_CASE("export: a mean says so in its name; codes and multiplexors have none") {
  Bench bench(R"(VERSION ""
BO_ 2365475326 Chooser: 8 Anybody
 SG_ Which M : 0|8@1+ (1,0) [0|250] "" Anybody
 SG_ Then m1 : 8|8@1+ (1,0) [0|250] "" Anybody
)");
  Paper paper;
  SeriesExport series(bench.columns({"WheelSpeed.Speed", "KeySwitch", "Which", "Then"}),
                      stepped(kSecond, {Take::mean}), paper);
  CHECK(paper.heading(0) ==
        "time,bus,source,controller,Speed mean [m/s],KeySwitch last,Which last,Then mean,remarks");
  const MessageSpec* chooser = bench.find("Chooser");
  const Talk& talk = bench.talk(chooser);
  for (const std::uint64_t value : {1, 2, 2})
    Bench::send(series, talk, kTime,
                {Bench::valid(Bench::signal(chooser, "Which"), exact(value, 0)),
                 Bench::valid(Bench::signal(chooser, "Then"), exact(value, 0))});
  series.finish();
  CHECK(paper.rows == std::vector<std::string>{"series:0||240|tractor ECU|||2|1.67|"});
  Paper plain;
  SeriesExport last(bench.columns({"WheelSpeed.Speed"}), stepped(kSecond, {Take::last}), plain);
  CHECK(plain.heading(0) == "time,bus,source,controller,Speed [m/s],remarks");
}

TEST_CASE("export: steps lie on whole multiples of the period; the clock may go back") {
  Bench bench;
  Paper paper;
  SeriesExport series(bench.columns({"Hours"}), stepped(250 * kMillisecond, {Take::max}), paper);
  CHECK(paper.heading(0) == "time,bus,source,controller,Hours max [h],remarks");
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
