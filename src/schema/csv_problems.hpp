// Problems of a CSV file that describes something, told alike.
#pragma once

#include <string>
#include <utility>
#include <vector>

#include "schema/problem.hpp"

namespace tramlog {

class CsvProblems {
 public:
  CsvProblems(std::vector<SchemaProblem>& problems, ProblemCount& count, const std::string& file)
      : problems_(problems), count_(count), file_(file) {}

  void error(std::uint32_t line, std::string subject, std::string text, std::string remedy) {
    add(SchemaProblem::Severity::error, line, std::move(subject), std::move(text), std::move(remedy));
  }
  void warning(std::uint32_t line, std::string subject, std::string text, std::string remedy) {
    add(SchemaProblem::Severity::warning, line, std::move(subject), std::move(text), std::move(remedy));
  }

 private:
  void add(SchemaProblem::Severity severity, std::uint32_t line, std::string subject, std::string text,
           std::string remedy) {
    count_.add(severity);
    if (problems_.size() >= kMaxSchemaProblems) return;
    if (problems_.size() + 1 == kMaxSchemaProblems) {
      severity = SchemaProblem::Severity::error;
      subject.clear();
      text = "there are more problems from here on, which are not listed";
      remedy = "put the others right first";
    }
    SchemaProblem problem;
    problem.severity = severity;
    problem.file = file_;
    problem.line = line;
    problem.subject = std::move(subject);
    problem.text = std::move(text);
    problem.remedy = std::move(remedy);
    problems_.push_back(std::move(problem));
  }

  std::vector<SchemaProblem>& problems_;
  ProblemCount& count_;
  const std::string& file_;
};

}  // namespace tramlog
