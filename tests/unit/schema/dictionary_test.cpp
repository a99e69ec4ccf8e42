#include "schema/dictionary.hpp"

#include <catch2/catch.hpp>
#include <fstream>
#include <sstream>

#include "schema/schema.hpp"
#include "schema/trouble_texts.hpp"

using namespace tramlog;

namespace {

std::string value_of(const Dictionary& dictionary, std::uint16_t ddi, std::uint32_t raw) {
  const DictionaryEntry* const entry = dictionary.find(ddi);
  REQUIRE(entry != nullptr);
  return format_number(Dictionary::value(*entry, raw));
}

}  // namespace

TEST_CASE("a dictionary is read whatever the order of its columns") {
  const Dictionary dictionary = parse_dictionary(
      "\xEF\xBB\xBF# what the numbers mean\r\n"
      "name, Unit ,resolution,ddi,sign\r\n"
      "\r\n"
      "\"Volume, \"\"actual\"\"\",mm3/m2,0.01,2,\r\n"
      "Work State,n/a,1,161,unsigned\r\n"
      "  # a remark\r\n"
      "Width,mm,1,67,signed",
      "mine.csv");
  CHECK(dictionary.problems.empty());
  REQUIRE(dictionary.entries.size() == 3);
  const DictionaryEntry* const volume = dictionary.find(2);
  REQUIRE(volume != nullptr);
  CHECK(volume->name == "Volume, \"actual\"");
  CHECK(volume->unit == "mm3/m2");
  CHECK(volume->resolution == Decimal{1, -2});
  CHECK_FALSE(volume->is_unsigned);
  CHECK(volume->line == 4);
  CHECK(dictionary.find(161)->unit.empty());
  CHECK(dictionary.find(161)->is_unsigned);
  CHECK(dictionary.find(67)->line == 7);
  CHECK(dictionary.find(68) == nullptr);
}

TEST_CASE("dictionary values are exact, signed unless said otherwise") {
  const Dictionary dictionary = parse_dictionary(
      "ddi,name,unit,resolution,sign\n"
      "1,Rate,mm3/m2,0.01,\n"
      "2,Mask,,1,unsigned\n"
      "3,Tiny,,1e-20,\n"
      "4,Big,,1000,\n"
      "5,Fine,,0.123456789012345678,\n"
      "6,Huge,,1e30,\n",
      "mine.csv");
  CHECK(value_of(dictionary, 1, 2'000'000) == "20000.00");
  CHECK(value_of(dictionary, 1, 0xFFFFFFFF) == "-0.01");
  CHECK(value_of(dictionary, 1, 0x80000000) == "-21474836.48");
  CHECK(value_of(dictionary, 1, 0) == "0.00");
  CHECK(value_of(dictionary, 2, 0xFFFFFFFF) == "4294967295");
  CHECK(value_of(dictionary, 3, 7) == "0.00000000000000000007");
  CHECK(value_of(dictionary, 4, 0xFFFFFFFE) == "-2000");
  CHECK(value_of(dictionary, 5, 2) == "0.246913578024691356");
  const Number large = Dictionary::value(*dictionary.find(5), 1'000'000'000);
  CHECK(large.kind == Number::Kind::real);
  CHECK(large.real == Approx(123456789.012345678));
  CHECK(Dictionary::value(*dictionary.find(6), 2).real == Approx(2e30));
  CHECK(format_number(Dictionary::value(*dictionary.find(6), 0)) == "0");
}

TEST_CASE("lines of a dictionary that cannot be read are told and left out") {
  const Dictionary dictionary = parse_dictionary(
      "ddi,name,unit,resolution,sign\n"
      "65536,Too large,,1,\n"
      "-1,Negative,,1,\n"
      "1,No resolution,,,\n"
      "2,Zero,,0,\n"
      "3\n"
      "4,\"not closed,,1,\n"
      "still the same,,\n",
      "mine.csv");
  CHECK(dictionary.entries.empty());
  REQUIRE(dictionary.problems.size() == 6);
  std::uint32_t line = 2;
  for (const SchemaProblem& problem : dictionary.problems) {
    CHECK(problem.line == line++);
    CHECK(problem.severity == SchemaProblem::Severity::error);
    CHECK(problem.file == "mine.csv");
    CHECK_FALSE(problem.remedy.empty());
  }
}

TEST_CASE("odd lines of a dictionary are used with a warning") {
  const Dictionary dictionary = parse_dictionary(
      "ddi,name,unit,resolution,sign\n"
      "1,First,mm,1,\n"
      "1,Second,m,1,\n"
      "2,,mm,1,\n"
      "3,Odd,mm,1,maybe\n",
      "mine.csv");
  CHECK(dictionary.find(1)->name == "Second");
  CHECK(dictionary.find(2)->name == "DDI 2");
  CHECK_FALSE(dictionary.find(3)->is_unsigned);
  REQUIRE(dictionary.problems.size() == 3);
  for (const SchemaProblem& problem : dictionary.problems)
    CHECK(problem.severity == SchemaProblem::Severity::warning);
  CHECK(dictionary.problems[0].line == 3);
}

TEST_CASE("a dictionary without its header is no dictionary") {
  for (const char* text : {"", "# nothing\n", "1,Rate,mm,1\n", "ddi,name,unit\n1,a,b\n"}) {
    const Dictionary dictionary = parse_dictionary(text, "mine.csv");
    CHECK(dictionary.entries.empty());
    REQUIRE(dictionary.problems.size() == 1);
    CHECK(dictionary.problems[0].severity == SchemaProblem::Severity::error);
  }
}

TEST_CASE("problems of a hopeless file are bounded, and the last one says so") {
  std::string text = "ddi,name,unit,resolution\n";
  for (int i = 0; i < 5000; ++i) text += "x,y,z,1\n";
  const Dictionary dictionary = parse_dictionary(text, "mine.csv");
  REQUIRE(dictionary.problems.size() == kMaxSchemaProblems);
  CHECK(dictionary.problems.back().text.find("more problems") != std::string::npos);
  CHECK(dictionary.problems.back().line == 1001);
}

TEST_CASE("the built-in dictionary has the whole fact sheet") {
  const Dictionary& dictionary = Schema::built_in().dictionary();
  CHECK(dictionary.entries.size() >= 758);
  // Check vectors of the fact sheet, process data, 1.2.
  CHECK(value_of(dictionary, 6, 18000) == "18000");
  CHECK(dictionary.find(6)->unit == "mg/m2");
  CHECK(value_of(dictionary, 1, 2'000'000) == "20000.00");
  CHECK(dictionary.find(1)->unit == "mm3/m2");
  CHECK(dictionary.find(116) != nullptr);
  // 8.3: unsigned are 161-176, 210, 215, 290-305, 367-382, 492, 494-500, 517, 518, 603-632.
  for (const auto& [ddi, entry] : dictionary.entries) {
    if (ddi >= 57344) continue;
    CAPTURE(ddi);
    const bool wanted = (ddi >= 161 && ddi <= 176) || ddi == 210 || ddi == 215 ||
                        (ddi >= 290 && ddi <= 305) || (ddi >= 367 && ddi <= 382) || ddi == 492 ||
                        (ddi >= 494 && ddi <= 500) || ddi == 517 || ddi == 518 || (ddi >= 603 && ddi <= 632);
    CHECK(entry.is_unsigned == wanted);
  }
}

TEST_CASE("trouble texts are read") {
  const TroubleTexts texts = parse_trouble_texts(
      "kind,number,text\n"
      "spn,168,\"battery potential, power input 1\"\n"
      "fmi,4,voltage too low\n"
      "spn,168,battery potential\n"
      "spn,524288,too large\n"
      "fmi,32,too large\n"
      "ddi,1,no kind\n"
      "spn,7,\n"
      "spn,,x\n",
      "codes.csv");
  REQUIRE(texts.spn.size() == 1);
  CHECK(texts.spn.at(168) == "battery potential");
  REQUIRE(texts.fmi.size() == 1);
  CHECK(texts.fmi.at(4) == "voltage too low");
  REQUIRE(texts.problems.size() == 6);
  CHECK(texts.problems[0].severity == SchemaProblem::Severity::warning);
  CHECK(texts.problems[0].line == 4);
  for (std::size_t i = 1; i < 6; ++i) {
    CHECK(texts.problems[i].severity == SchemaProblem::Severity::error);
    CHECK(texts.problems[i].line == 4 + i);
  }
  CHECK(parse_trouble_texts("spn,168,x\n", "codes.csv").problems.size() == 1);
  CHECK(parse_trouble_texts("", "codes.csv").problems.size() == 1);
}

TEST_CASE("built-in texts of failure modes") {
  const Schema& schema = Schema::built_in();
  // Fact sheet, network and diagnostics, 7.4: 0-21 and 31 mean something, the others are reserved.
  for (std::uint8_t fmi = 0; fmi < 32; ++fmi) {
    CAPTURE(static_cast<int>(fmi));
    const bool known = fmi <= 21 || fmi == 31;
    CHECK(schema.trouble_texts().fmi.contains(fmi) == known);
    CHECK_FALSE(schema.fmi_text(fmi).empty());
  }
  CHECK(schema.fmi_text(25) == "reserved (FMI 25)");
  CHECK(schema.spn_text(190));  // engine speed: a signal's title at least
  CHECK_FALSE(schema.spn_text(524'286));
}
