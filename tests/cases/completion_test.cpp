// Completions: what the shells themselves offer after having read them.
#include <catch2/catch.hpp>
#include <string>

#include "cases/program.hpp"

using namespace tramlog::cases;

namespace {

bool has_shell(const std::string& shell) {
  return run("command -v " + shell + " >/dev/null").code == 0;
}

/// What bash would offer; `words` ends with the one that is being typed.
std::string offered_by_bash(const std::string& words, int typed) {
  return run("TRAMLOG completion bash >/tmp/tramlog-completion-$$ && bash --norc -c 'source "
             "/tmp/tramlog-completion-'$$'; COMP_WORDS=(" +
             words + "); COMP_CWORD=" + std::to_string(typed) +
             "; compopt() { :; }; _tramlog; echo ${COMPREPLY[@]}'; rm -f /tmp/tramlog-completion-$$")
      .output;
}

bool offers(const std::string& offered, const std::string& word) {
  return (" " + offered + " ").find(" " + word) != std::string::npos;
}

}  // namespace

TEST_CASE("bash completes subcommands, options and their values", "[completion]") {
  CHECK(offers(offered_by_bash("tramlog rep", 1), "report"));
  CHECK_FALSE(offers(offered_by_bash("tramlog rep", 1), "rollcall"));
  CHECK(offers(offered_by_bash("tramlog report --ro", 2), "--roster"));
  CHECK_FALSE(offers(offered_by_bash("tramlog decode --weights", 2), "--cause-weights"));
  CHECK(offers(offered_by_bash("tramlog report --format \"\"", 3), "json"));
  CHECK_FALSE(offers(offered_by_bash("tramlog report --format t", 3), "json"));
  CHECK(offers(offered_by_bash("tramlog export --format \"\"", 3), "sqlite"));
  CHECK(offers(offered_by_bash("tramlog roster lea", 2), "learn"));
  CHECK(offers(offered_by_bash("tramlog report /usr/b", 2), "/usr/bin"));
}

TEST_CASE("fish completes subcommands, options and their values", "[completion]") {
  if (!has_shell("fish")) {
    WARN("no fish here: its completions were not tried");
    return;
  }
  const auto offered = [](const std::string& line) {
    return run("TRAMLOG completion fish | HOME=/tmp fish --no-config -c 'source; complete -C \"" + line +
               "\"'")
        .output;
  };
  CHECK(offered("tramlog rep").find("report") != std::string::npos);
  CHECK(offered("tramlog report --ro").find("--roster") != std::string::npos);
  CHECK(offered("tramlog report --format ").find("json") != std::string::npos);
  CHECK(offered("tramlog roster lea").find("learn") != std::string::npos);
  CHECK(offered("tramlog decode --ro").find("--cause") == std::string::npos);
}

TEST_CASE("zsh takes the completions", "[completion]") {
  if (!has_shell("zsh")) {
    WARN("no zsh here: its completions were not tried");
    return;
  }
  const auto outcome =
      run("TRAMLOG completion zsh | zsh -fc 'autoload -U compinit; compinit -u -D; source /dev/stdin; "
          "print ${_comps[tramlog]}; functions _tramlog_report'");
  CHECK(outcome.code == 0);
  CHECK(outcome.output.find("_tramlog_\n") != std::string::npos);
  CHECK(outcome.output.find("--format") != std::string::npos);
}

TEST_CASE("Other shells", "[completion]") {
  CHECK(run("TRAMLOG completion tcl").code == 2);
}
