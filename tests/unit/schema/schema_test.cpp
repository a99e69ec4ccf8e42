// Layers of files, and which message an identifier stands for.
#include "schema/schema.hpp"

#include <fmt/format.h>

#include <catch2/catch.hpp>
#include <fstream>
#include <set>
#include <sstream>

#include "schema/built_in.hpp"

using namespace tramlog;

namespace {

constexpr std::uint32_t kFlag = 0x80000000;  // 29-bit identifier in a DBC file

std::string message(std::uint32_t id, bool extended, const std::string& name, const std::string& more = {}) {
  return fmt::format("BO_ {} {}: 8 Anybody\n SG_ X : 0|8@1+ (1,0) [0|0] \"\" Anybody\n{}",
                     extended ? id | kFlag : id, name, more);
}

void add(Schema& schema, const std::string& text, const std::string& file, bool built_in = false) {
  DbcFile parsed = parse_dbc(text, file);
  check_dbc(parsed);
  schema.add(std::move(parsed), built_in);
}

std::string name_of(const MessageSpec* spec) {
  return spec == nullptr ? "" : spec->name;
}

}  // namespace

TEST_CASE("any priority, source and destination match by PGN") {
  Schema schema;
  add(schema, message(0x0CFE48FE, true, "Wheel") + message(0x18EFFFFE, true, "Proprietary"), "a.dbc");
  for (const std::uint32_t id : {0x0CFE48FEU, 0x0CFE48F0U, 0x18FE4800U, 0x1CFE48FFU}) {
    CHECK(name_of(schema.find(id, true)) == "Wheel");
    CHECK(schema.find(id & 0x7FF, false) == nullptr);
  }
  for (const std::uint32_t id : {0x18EF2680U, 0x0CEFFF80U, 0x18EF0000U})
    CHECK(name_of(schema.find(id, true)) == "Proprietary");
  CHECK(schema.find(0x0CFE49F0, true) == nullptr);
  CHECK(schema.find(0x0DFE48F0, true) == nullptr);  // data page 1 is another PGN
  CHECK(name_of(schema.find(Pgn{65096}, 0x80, 0xFF)) == "Wheel");
  CHECK(name_of(schema.find(Pgn{0xEF00}, 0x80, 0x26)) == "Proprietary");
  CHECK(schema.find(Pgn{0xEE00}, 0x80, 0x26) == nullptr);
}

TEST_CASE("the exact identifier wins over the PGN") {
  Schema schema;
  add(schema,
      message(0x0CFE4811, true, "First") + message(0x0CFE48FE, true, "Anybody") +
          message(0x0CFE48F0, true, "Tractor"),
      "a.dbc");
  CHECK(name_of(schema.find(0x0CFE4811, true)) == "First");
  CHECK(name_of(schema.find(0x0CFE48F0, true)) == "Tractor");
  CHECK(name_of(schema.find(0x0CFE4880, true)) == "Anybody");
  CHECK(name_of(schema.find(0x18FE48F0, true)) == "Tractor");  // the priority does not matter
  // A transfer does not tell the priority of what it carried.
  CHECK(name_of(schema.find(Pgn{65096}, 0xF0, 0xFF)) == "Tractor");
  CHECK(name_of(schema.find(Pgn{65096}, 0x80, 0xFF)) == "Anybody");
  CHECK(schema.messages().size() == 3);
}

TEST_CASE("without a message from anybody the first one counts") {
  Schema schema;
  add(schema, message(0x0CFE4811, true, "First") + message(0x0CFE48F0, true, "Second"), "a.dbc");
  CHECK(name_of(schema.find(0x0CFE4880, true)) == "First");
}

TEST_CASE("a transfer's destination counts for PDU1") {
  Schema schema;
  add(schema, message(0x18EF2680, true, "ToDisplay") + message(0x18EFFFFE, true, "Anybody"), "a.dbc");
  CHECK(name_of(schema.find(Pgn{0xEF00}, 0x80, 0x26)) == "ToDisplay");
  CHECK(name_of(schema.find(Pgn{0xEF00}, 0x80, 0x27)) == "ToDisplay");  // of the same source
  CHECK(name_of(schema.find(Pgn{0xEF00}, 0x81, 0x26)) == "Anybody");
}

TEST_CASE("11-bit identifiers and identifiers that are no PGN are matched exactly") {
  Schema schema;
  add(schema,
      message(0x123, false, "Standard") + message(0x18FF1234, true, "Exact") +
          "BA_DEF_ BO_ \"VFrameFormat\" ENUM \"StandardCAN\",\"ExtendedCAN\",\"reserved\",\"J1939PG\";\n"
          "BA_DEF_DEF_ \"VFrameFormat\" \"StandardCAN\";\n"
          "BA_ \"VFrameFormat\" BO_ 2566853172 1;\n",
      "a.dbc");
  CHECK(name_of(schema.find(0x123, false)) == "Standard");
  CHECK(schema.find(0x123, true) == nullptr);
  CHECK(name_of(schema.find(0x18FF1234, true)) == "Exact");
  CHECK(schema.find(0x18FF1235, true) == nullptr);
  CHECK(schema.find(0x0CFF1234, true) == nullptr);
  CHECK(schema.find(0x123, false)->exact_only);
  CHECK(schema.find(0x18FF1234, true)->exact_only);
  CHECK(schema.find(0x18FF1234, true)->signals.at(0).rule == CodeRule::none);
}

TEST_CASE("an entry of one source counts for it with any priority and destination") {
  Schema schema;
  add(schema, message(0x18EFFF82, true, "MakerA") + message(0x18EFFF83, true, "MakerB"), "a.dbc");
  CHECK(name_of(schema.find(0x18EF2683, true)) == "MakerB");
  CHECK(name_of(schema.find(0x0CEF2682, true)) == "MakerA");
  CHECK(name_of(schema.find(Pgn{0xEF00}, 0x83, 0x26)) == "MakerB");
  CHECK(name_of(schema.find(0x18EF2684, true)) == "MakerA");  // nothing better is known
}

TEST_CASE("a later layer replaces the entry for the same senders and says so") {
  Schema schema;
  add(schema, message(0x0CFE48FE, true, "Ours") + message(0x0CFE48F0, true, "OursOfTractor"), "dbc/a.dbc",
      true);
  add(schema, "\n" + message(0x18FE48FE, true, "Yours"), "b.dbc");
  CHECK(name_of(schema.find(0x18FE4880, true)) == "Yours");
  CHECK(name_of(schema.find(Pgn{65096}, 0x21, 0xFF)) == "Yours");
  CHECK(name_of(schema.find(0x0CFE48F0, true)) == "OursOfTractor");  // an entry of one source stays
  REQUIRE(schema.layers().size() == 2);
  CHECK(schema.layers()[0].built_in);
  CHECK(schema.layers()[0].problems.empty());
  CHECK(schema.layers()[0].messages == 2);
  CHECK(schema.layers()[1].signals == 1);
  CHECK_FALSE(schema.layers()[1].built_in);
  const auto& problems = schema.layers()[1].problems;
  REQUIRE(problems.size() == 1);
  CHECK(problems[0].severity == SchemaProblem::Severity::warning);
  CHECK(problems[0].file == "b.dbc");
  CHECK(problems[0].line == 2);
  CHECK(problems[0].subject == "Yours");
  CHECK(problems[0].text == "replaces Ours (dbc/a.dbc:1)");

  add(schema, message(0x18FE48F0, true, "YoursOfTractor"), "c.dbc");
  CHECK(name_of(schema.find(0x18FE48F0, true)) == "YoursOfTractor");
  CHECK(name_of(schema.find(0x0CFE48F0, true)) == "OursOfTractor");  // still the exact identifier
  REQUIRE(schema.layers()[2].problems.size() == 1);
  CHECK(schema.layers()[2].problems[0].text == "replaces OursOfTractor (dbc/a.dbc:3)");
}

TEST_CASE("a later entry of one source leaves the entry for everybody to the others, and says so") {
  Schema schema;
  add(schema, message(0x0CFE48FE, true, "Ours"), "dbc/a.dbc", true);
  add(schema, message(0x0CFE4881, true, "Mine"), "b.dbc");
  CHECK(name_of(schema.find(0x18FE4881, true)) == "Mine");
  CHECK(name_of(schema.find(0x18FE48F0, true)) == "Ours");
  REQUIRE(schema.layers()[1].problems.size() == 1);
  CHECK(schema.layers()[1].problems[0].text ==
        "counts for source 0x81 only: from others the PGN stays Ours (dbc/a.dbc:1)");
  CHECK(schema.messages().size() == 2);
}

TEST_CASE("layers for different sources stand side by side") {
  Schema schema;
  add(schema, message(0x18FF1481, true, "M81"), "a.dbc");
  add(schema, message(0x18FF1482, true, "M82"), "b.dbc");
  CHECK(name_of(schema.find(0x18FF1481, true)) == "M81");
  CHECK(name_of(schema.find(0x0CFF1481, true)) == "M81");
  CHECK(name_of(schema.find(0x18FF1482, true)) == "M82");
  CHECK(schema.layers()[1].problems.empty());
}

TEST_CASE("a later exact identifier replaces only itself") {
  Schema schema;
  add(schema, message(0x0CFE48FE, true, "Ours") + message(0x123, false, "OurStandard"), "a.dbc");
  add(schema,
      message(0x0CFE48FE, true, "Yours") + message(0x123, false, "YourStandard") +
          "BA_DEF_ BO_ \"VFrameFormat\" ENUM \"StandardCAN\",\"ExtendedCAN\";\n"
          "BA_DEF_DEF_ \"VFrameFormat\" \"ExtendedCAN\";\n",
      "b.dbc");
  CHECK(name_of(schema.find(0x0CFE48FE, true)) == "Yours");
  CHECK(name_of(schema.find(0x0CFE4880, true)) == "Ours");
  CHECK(name_of(schema.find(0x123, false)) == "YourStandard");
  CHECK(schema.layers()[1].problems.size() == 1);  // only the 11-bit one is gone
  CHECK(schema.messages().size() == 3);
}

TEST_CASE("messages come in the order of their identifiers") {
  Schema schema;
  add(schema,
      message(0x200, false, "StandardB") + message(0x100, false, "StandardA") +
          message(0x0CFE49FE, true, "C") + message(0x0CFE48FE, true, "B") + message(0x18EFFFFE, true, "A"),
      "a.dbc");
  std::string names;
  for (const MessageSpec* spec : schema.messages()) names += spec->name + ' ';
  CHECK(names == "A B C StandardA StandardB ");
}

TEST_CASE("what is told of a message") {
  Schema schema;
  add(schema,
      "BO_ 2365475070 Wheel: 8 Tractor\n"
      " SG_ Speed : 0|16@1+ (0.001,0) [0|64.255] \"m/s\" Anybody\n"
      " SG_ Key : 58|2@1+ (1,0) [0|3] \"\" Anybody\n"
      "CM_ BO_ 2365475070 \"Wheel-based speed v1.2 and distance. Sent by the tractor.\";\n"
      "CM_ SG_ 2365475070 Speed \"Speed of the wheels\";\n"
      "BA_DEF_ BO_ \"GenMsgCycleTime\" INT 0 65535;\n"
      "BA_DEF_ BO_ \"Sending\" ENUM \"unknown\",\"cyclic\",\"while-active\",\"on-change\",\"on-request\";\n"
      "BA_DEF_ SG_ \"SPN\" INT 0 524287;\n"
      "BA_DEF_ SG_ \"Purpose\" ENUM \"measured\",\"command\";\n"
      "BA_ \"GenMsgCycleTime\" BO_ 2365475070 100;\n"
      "BA_ \"SPN\" SG_ 2365475070 Speed 1862;\n"
      "BA_ \"Purpose\" SG_ 2365475070 Key 1;\n",
      "a.dbc");
  const MessageSpec* const spec = schema.find(0x0CFE48F0, true);
  REQUIRE(spec != nullptr);
  CHECK(spec->title == "Wheel-based speed v1.2 and distance");
  CHECK(spec->comment == "Wheel-based speed v1.2 and distance. Sent by the tractor.");
  CHECK(spec->sender == "Tractor");
  CHECK(spec->period == 100 * kMillisecond);
  CHECK(spec->sending == Sending::cyclic);
  CHECK(spec->pgn == 65096);
  CHECK(spec->line == 1);
  REQUIRE(spec->signals.size() == 2);
  const SignalSpec& speed = spec->signals[0];
  CHECK(speed.message == spec);
  CHECK(speed.title == "Speed of the wheels");
  CHECK(speed.spn == 1862);
  CHECK(speed.line == 2);
  CHECK_FALSE(speed.command);
  CHECK(spec->signals[1].title == "Key");
  CHECK(spec->signals[1].command);
  CHECK_FALSE(spec->signals[1].spn);
  CHECK(schema.spn_text(1862) == "speed of the wheels");
  CHECK_FALSE(schema.spn_text(1863));
  CHECK(schema.fmi_text(3) == "reserved (FMI 3)");
}

TEST_CASE("dictionaries and trouble texts lie in layers, too") {
  Schema schema;
  schema.add(parse_dictionary("ddi,name,unit,resolution\n1,One,mm,1\n2,Two,mm,1\n", "first.csv"));
  schema.add(parse_dictionary("ddi,name,unit,resolution\n2,Other,m,0.1\n3,Three,mm,1\n", "second.csv"));
  schema.add(parse_trouble_texts("kind,number,text\nspn,5,five\nfmi,1,low\n", "third.csv"));
  schema.add(parse_trouble_texts("kind,number,text\nspn,5,FIVE\n", "fourth.csv"));
  CHECK(schema.dictionary().entries.size() == 3);
  CHECK(schema.dictionary().find(2)->name == "Other");
  CHECK(schema.spn_text(5) == "FIVE");
  CHECK(schema.fmi_text(1) == "low");
  REQUIRE(schema.layers().size() == 4);
  CHECK(schema.layers()[0].problems.empty());
  REQUIRE(schema.layers()[1].problems.size() == 1);
  CHECK(schema.layers()[1].problems[0].text == "replaces 1 entry of first.csv");
  REQUIRE(schema.layers()[3].problems.size() == 1);
  CHECK(schema.layers()[3].problems[0].text == "replaces 1 text of third.csv");
}

TEST_CASE("the files of dbc are in the program as they stand, and without mistakes") {
  const Schema& schema = Schema::built_in();
  CHECK(schema.layers().size() == built_in_files().size());
  CHECK(schema.layers().size() >= 5);
  for (const BuiltInFile& file : built_in_files()) {
    CAPTURE(std::string(file.name));
    std::ifstream on_disk(std::string(TRAMLOG_SOURCE_DIR) + "/" + std::string(file.name));
    std::stringstream text;
    text << on_disk.rdbuf();
    CHECK(text.str() == file.text);
  }
  for (const SchemaLayer& layer : schema.layers()) {
    CHECK(layer.built_in);
    for (const SchemaProblem& problem : layer.problems) FAIL_CHECK(describe(problem));
  }
  for (const MessageSpec* spec : schema.messages()) {
    CHECK(spec == schema.find(spec->id, spec->extended));
    for (const SignalSpec& signal : spec->signals) CHECK(signal.message == spec);
  }
}

TEST_CASE("layers may be laid over the built-in schema without changing it") {
  const Schema& built_in = Schema::built_in();
  const std::size_t count = built_in.layers().size();
  Schema mine = Schema::with_built_in();
  CHECK(mine.layers().size() == count);
  add(mine, message(0x18FE48FE, true, "MyWheel"), "mine.dbc");
  CHECK(name_of(mine.find(0x0CFE48F0, true)) == "MyWheel");
  CHECK(name_of(built_in.find(0x0CFE48F0, true)) == "WheelBasedSpeedDist");
  CHECK(built_in.layers().size() == count);
  REQUIRE(mine.layers().back().problems.size() == 1);
  CHECK(mine.layers().back().problems[0].text.starts_with("replaces WheelBasedSpeedDist (dbc/tractor.dbc:"));
  // The rest is there as before, also after a move.
  const Schema moved = std::move(mine);
  CHECK(name_of(moved.find(0x0CFE49F0, true)) == "GroundBasedSpeedDist");
  CHECK(moved.dictionary().entries.size() == built_in.dictionary().entries.size());
  CHECK(moved.messages().size() == built_in.messages().size());
}

TEST_CASE("hostile multiplexing that nobody checked does no harm") {
  const auto signal = [](const std::string& name, const std::string& multiplexor) {
    DbcSignal made;
    made.name = name;
    made.bit_length = 8;
    made.is_multiplexor = true;
    if (!multiplexor.empty()) {
      made.multiplexor = multiplexor;
      made.multiplex_code = 0;
    }
    return made;
  };
  DbcFile file;
  DbcMessage from;
  from.length = 8;
  from.signals = {signal("A", "B"),    signal("B", "C"),       signal("C", "A"),  signal("Self", "Self"),
                  signal("Lost", "?"), signal("Good", "Root"), signal("Root", "")};
  from.signals.push_back(signal("Hangs on the circle", "A"));
  from.signals.push_back(signal("No bits", ""));
  from.signals.back().bit_length = 0;
  from.signals.push_back(signal("Too many bits", ""));
  from.signals.back().bit_length = 65;
  const MessageSpec spec = make_message_spec(std::move(from), file);
  REQUIRE(spec.signals.size() == 2);
  CHECK(spec.signals[0].name == "Root");
  CHECK(spec.signals[1].name == "Good");
  CHECK(spec.signals[1].multiplexor == 0);
  // A signal without its message cannot know whether it is there.
  const std::uint8_t data[8] = {};
  CHECK_FALSE(read_signal(spec.signals[1], data));
  CHECK(read_signal(spec.signals[0], data));
  std::vector<Reading> readings;
  read_signals(spec, data, readings);
  CHECK(readings.size() == 2);
}

TEST_CASE("a long chain of multiplexors takes no long time") {
  DbcFile file;
  DbcMessage from;
  from.length = 8;
  for (int i = 0; i < 50'000; ++i) {
    DbcSignal made;
    made.name = std::to_string(i);
    made.bit_length = 8;
    made.start_bit = static_cast<std::uint32_t>(i % 57);
    made.is_multiplexor = true;
    if (i > 0) {
      made.multiplexor = std::to_string(i - 1);
      made.multiplex_code = 0;
    }
    from.signals.push_back(made);
  }
  const MessageSpec spec = make_message_spec(std::move(from), file);
  const std::uint8_t data[8] = {};
  std::vector<Reading> readings;
  read_signals(spec, data, readings);
  CHECK(readings.size() == 50'000);
}
