// Lines of a table with more fields than columns.
#include <catch2/catch.hpp>

#include "schema/csv_lines.hpp"
#include "schema/dictionary.hpp"
#include "schema/trouble_texts.hpp"

namespace tramlog {
namespace {

std::vector<std::string> lines_of(const std::vector<SchemaProblem>& problems) {
  std::vector<std::string> lines;
  for (const SchemaProblem& problem : problems) lines.push_back(describe(problem));
  return lines;
}

}  // namespace

TEST_CASE("a comma too many in a trouble code's text") {
  const TroubleTexts texts = parse_trouble_texts(
      "kind,number,text\nspn,1,motor, front\nspn,2,\"motor, rear\"\nspn,3,fan,,\n", "own.csv");
  CHECK(lines_of(texts.problems) ==
        std::vector<std::string>{
            "own.csv:2: warning: SPN 1: the line has 4 fields, but the first line names 3 columns; "
            "put a field that holds commas in double quotes"});
  CHECK(texts.problem_count == ProblemCount{0, 1});
  CHECK(texts.spn.at(1) == "motor");
  CHECK(texts.spn.at(2) == "motor, rear");
  CHECK(texts.spn.at(3) == "fan");
}

TEST_CASE("a comma too many in an entry of a dictionary") {
  const Dictionary dictionary = parse_dictionary(
      "ddi,name,unit,resolution\n57360,Tube, left,mK,1\n57361,Tube,mK,1,spare\n57362,Tube,mK,1,,\n",
      "own.csv");
  CHECK(lines_of(dictionary.problems) ==
        std::vector<std::string>{
            "own.csv:2: error: DDI 57360: the line has 5 fields, but the first line names 4 columns; "
            "put a field that holds commas in double quotes; the line is left out",
            "own.csv:3: warning: DDI 57361: the line has 5 fields, but the first line names 4 "
            "columns; put a field that holds commas in double quotes"});
  CHECK(dictionary.problem_count == ProblemCount{1, 1});
  CHECK(dictionary.entries.size() == 2);
}

TEST_CASE("problems of a table are counted beyond those that are listed") {
  std::string text = "kind,number,text\n";
  for (int i = 0; i < 1500; ++i) text += "spn,x,y\n";
  text += "spn,1,a\nspn,1,b\n";
  const TroubleTexts texts = parse_trouble_texts(text, "own.csv");
  CHECK(texts.problems.size() == kMaxSchemaProblems);
  CHECK(texts.problem_count == ProblemCount{1500, 1});
}

}  // namespace tramlog
