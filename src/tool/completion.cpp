#include "tool/completion.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <vector>

#include "base/text.hpp"
#include "tool/command.hpp"

namespace tramlog {
namespace {

struct Choice {
  std::vector<std::string> names;  // "-o", "--output"
  std::string explains;
  bool takes_value = false;
  std::vector<std::string> values;  // those that it may have; empty: any, and a file if it takes a value
};

struct Command {
  std::string path;  // "report", "roster learn"
  std::string explains;
  std::vector<Choice> choices;
  std::vector<std::pair<std::string, std::string>> below;  // subcommands and what they are for
  bool takes_files = false;
};

/// "One of: json, text" names the values of an option.
std::vector<std::string> values_of(const std::string& explains) {
  constexpr std::string_view kBegin = "One of: ";
  std::vector<std::string> values;
  const std::size_t at = explains.find(kBegin);
  if (at == std::string::npos) return values;
  std::string word;
  int depth = 0;  // what stands in brackets explains the value before it
  for (std::size_t i = at + kBegin.size(); i <= explains.size(); ++i) {
    const char c = i < explains.size() ? explains[i] : ',';
    depth += c == '(' ? 1 : c == ')' ? -1 : 0;
    if (depth > 0 || c == ')' || c == ' ') continue;
    if (std::isalnum(static_cast<unsigned char>(c)) != 0 || c == '-' || c == '_')
      word += c;
    else if (!word.empty())
      values.push_back(std::exchange(word, {}));
    if (c == ';' || c == '.' || c == ':') break;
  }
  return values;
}

void gather(const CLI::App& app, const std::string& path, std::vector<Command>& all) {
  Command command;
  command.path = path;
  command.explains = app.get_description();
  for (const CLI::Option* option : app.get_options()) {
    if (option->get_positional()) {
      command.takes_files = true;
      continue;
    }
    Choice choice;
    for (const std::string& name : option->get_snames()) choice.names.push_back("-" + name);
    for (const std::string& name : option->get_lnames()) choice.names.push_back("--" + name);
    if (choice.names.empty()) continue;
    choice.explains = option->get_description();
    choice.takes_value = option->get_expected_min() > 0 && option->get_type_size() != 0;
    choice.values = values_of(choice.explains);
    command.choices.push_back(std::move(choice));
  }
  const auto below = app.get_subcommands([](const CLI::App*) { return true; });
  for (const CLI::App* one : below) command.below.emplace_back(one->get_name(), one->get_description());
  all.push_back(std::move(command));
  for (const CLI::App* one : below)
    gather(*one, path.empty() ? one->get_name() : path + " " + one->get_name(), all);
}

/// Between single quotes of a shell: what would end them, or mean something within them, becomes a
/// typographic neighbour of it.
std::string plain(const std::string& text) {
  std::string out;
  for (const char c : text.substr(0, text.find('\n'))) {
    if (c == '\'')
      out += "`";
    else if (c == '[')
      out += "(";
    else if (c == ']')
      out += ")";
    else if (c == ':')
      out += " -";
    else
      out += c;
  }
  return out;
}

std::string joined(const std::vector<std::string>& words, const char* between = " ") {
  return fmt::format("{}", fmt::join(words, between));
}

std::string function_of(const std::string& path) {
  std::string name = "_tramlog_" + path;
  std::replace_if(
      name.begin(), name.end(), [](char c) { return std::isalnum(static_cast<unsigned char>(c)) == 0; }, '_');
  return name;
}

std::string bash(const std::vector<Command>& all) {
  std::string out =
      "# Completion of tramlog for bash, written by `tramlog completion bash`.\n"
      "_tramlog() {\n"
      "  local word=${COMP_WORDS[COMP_CWORD]} before=${COMP_WORDS[COMP_CWORD - 1]} path= i\n"
      "  COMPREPLY=()\n"
      "  for ((i = 1; i < COMP_CWORD; ++i)); do\n"
      "    case \"$path ${COMP_WORDS[i]}\" in\n";
  for (const Command& command : all)
    if (!command.path.empty())
      out += fmt::format("      '{}{}') path='{}' ;;\n",
                         command.path.find(' ') == std::string::npos ? " " : "", command.path, command.path);
  out +=
      "    esac\n"
      "  done\n"
      "  local words= files=\n"
      "  case \"$path\" in\n";
  for (const Command& command : all) {
    std::vector<std::string> words;
    for (const auto& [name, explains] : command.below) words.push_back(name);
    out += fmt::format("    '{}')\n      case \"$before\" in\n", command.path);
    for (const Choice& choice : command.choices) {
      words.insert(words.end(), choice.names.begin(), choice.names.end());
      if (!choice.takes_value) continue;
      out += fmt::format("        {}) ", joined(choice.names, " | "));
      out += choice.values.empty()
                 ? "compopt -o filenames; COMPREPLY=($(compgen -f -- \"$word\")); return ;;\n"
                 : fmt::format("COMPREPLY=($(compgen -W '{}' -- \"$word\")); return ;;\n",
                               joined(choice.values));
    }
    out += fmt::format("      esac\n      words='{}'{} ;;\n", joined(words),
                       command.takes_files ? " files=1" : "");
  }
  out +=
      "  esac\n"
      "  COMPREPLY=($(compgen -W \"$words\" -- \"$word\"))\n"
      "  if [[ -n $files && $word != -* ]]; then\n"
      "    compopt -o filenames 2>/dev/null\n"
      "    COMPREPLY+=($(compgen -f -- \"$word\"))\n"
      "  fi\n"
      "}\n"
      "complete -F _tramlog tramlog\n";
  return out;
}

std::string zsh(const std::vector<Command>& all) {
  std::string out =
      "#compdef tramlog\n# Completion of tramlog for zsh, written by `tramlog completion zsh`.\n\n";
  for (const Command& command : all) {
    out += function_of(command.path) + "() {\n  local context state line\n  _arguments -C \\\n";
    for (const Choice& choice : command.choices) {
      const std::string values = !choice.takes_value     ? ""
                                 : choice.values.empty() ? ":value:_files"
                                                         : ":value:(" + joined(choice.values) + ")";
      for (const std::string& name : choice.names)
        out += fmt::format("    '*{}[{}]{}' \\\n", name, plain(choice.explains), values);
    }
    if (command.below.empty()) {
      out += command.takes_files ? "    '*:file:_files'\n" : "    ':'\n";
    } else {
      out +=
          "    '1:what to do:->what' \\\n    '*::words:->words'\n  case $state in\n    what)\n      local -a "
          "below=(\n";
      for (const auto& [name, explains] : command.below)
        out += fmt::format("        '{}:{}'\n", name, plain(explains));
      out += "      )\n      _describe 'what to do' below\n      ;;\n    words)\n      case ${line[1]} in\n";
      for (const auto& [name, explains] : command.below)
        out += fmt::format("        {}) {} ;;\n", name,
                           function_of(command.path.empty() ? name : command.path + " " + name));
      out += "      esac\n      ;;\n  esac\n";
    }
    out += "}\n\n";
  }
  // Loaded by name, or sourced.
  return out +
         "if [[ ${funcstack[1]-} == _tramlog ]]; then\n  _tramlog_ \"$@\"\nelse\n  compdef _tramlog_ "
         "tramlog\nfi\n";
}

std::string fish(const std::vector<Command>& all) {
  std::string out = "# Completion of tramlog for fish, written by `tramlog completion fish`.\n";
  for (const Command& command : all) {
    std::string when;
    const std::size_t space = command.path.find(' ');
    std::vector<std::string> names;
    for (const auto& [name, explains] : command.below) names.push_back(name);
    if (command.path.empty())
      when = "__fish_use_subcommand";
    else if (space == std::string::npos)
      when = "__fish_seen_subcommand_from " + command.path;
    else
      when = fmt::format("__fish_seen_subcommand_from {}; and __fish_seen_subcommand_from {}",
                         command.path.substr(0, space), command.path.substr(space + 1));
    const std::string not_yet = command.path.empty() || names.empty()
                                    ? when
                                    : when + "; and not __fish_seen_subcommand_from " + joined(names);
    if (!command.takes_files) out += fmt::format("complete -c tramlog -n '{}' -f\n", when);
    for (const auto& [name, explains] : command.below)
      out += fmt::format("complete -c tramlog -n '{}' -f -a {} -d '{}'\n", not_yet, name, plain(explains));
    for (const Choice& choice : command.choices) {
      out += fmt::format("complete -c tramlog -n '{}'", when);
      for (const std::string& name : choice.names)
        out += name.rfind("--", 0) == 0 ? " -l " + name.substr(2) : " -s " + name.substr(1);
      if (!choice.values.empty())
        out += fmt::format(" -x -a '{}'", joined(choice.values));
      else if (choice.takes_value)
        out += " -r -F";
      out += fmt::format(" -d '{}'\n", plain(choice.explains));
    }
  }
  return out;
}

}  // namespace

std::string completion_script(const CLI::App& app, const std::string& shell) {
  std::vector<Command> all;
  gather(app, "", all);
  return shell == "bash"   ? bash(all)
         : shell == "zsh"  ? zsh(all)
         : shell == "fish" ? fish(all)
                           : std::string();
}

void add_completion_command(CLI::App& app, int& code) {
  auto shell = std::make_shared<std::string>();
  auto options = std::make_shared<CommonOptions>();
  CLI::App* command =
      app.add_subcommand("completion", "A script that lets a shell complete tramlog's commands and options");
  command->add_option("shell", *shell, "One of: bash, zsh, fish")->required();
  add_output(*command, *options);
  command->footer(
      "Example:\n  source <(tramlog completion bash)\n\nThe Debian package brings all three; this is for "
      "other systems.");
  command->callback([&app, shell, options, &code] {
    const std::string script = completion_script(app, *shell);
    code = script.empty() ? fail({ErrorKind::usage, "unknown shell \"" + printable_utf8(*shell) + "\"",
                                  "shell", "choose one of: bash, zsh, fish"})
                          : deliver(*options, script, kFine);
  });
}

}  // namespace tramlog
