// tramlog compare: what changed between two recordings.
#include "tool/compare_side.hpp"
#include "tool/implement_option.hpp"

namespace tramlog {
namespace {

struct Sides {
  std::vector<std::string> both, before, after;
  std::string before_day, after_day;
};

// Two names, or each side's own list. One name is both sides, if a day of it is named for each.
std::optional<Error> sort_out(Sides& sides) {
  const auto wrong = [](std::string what) {
    return Error{ErrorKind::usage, std::move(what), "command line",
                 "name one file or folder before and one after; for several on a side: --before A --before B "
                 "--after C"};
  };
  if (sides.both.size() == 1 && sides.before.empty() && sides.after.empty() && !sides.before_day.empty() &&
      !sides.after_day.empty())
    sides.both.push_back(sides.both.front());
  if (sides.both.size() > 2) return wrong("more than two recordings are named");
  std::size_t next = 0;
  for (std::vector<std::string>* side : {&sides.before, &sides.after})
    if (side->empty() && next < sides.both.size()) side->push_back(sides.both[next++]);
  if (next < sides.both.size()) return wrong("a side is named twice");
  if (sides.before.empty() || sides.after.empty()) return wrong("a comparison needs two sides");
  return std::nullopt;
}

std::string rendered(const Comparison& comparison, const CommonOptions& options) {
  if (options.format == "json") return compare_json(comparison);
  return options.format == "html" ? compare_html(comparison) : compare_page(comparison, options.unicode);
}

int run(const CommonOptions& options, Sides sides) {
  if (options.format != "text" && options.format != "json" && options.format != "html")
    return fail({ErrorKind::usage, "unknown format \"" + options.format + "\"", "--format",
                 "choose one of: html, json, text"});
  if (const auto error = sort_out(sides)) return fail(*error);
  CommonOptions inputs = options;  // -o must be none of them
  inputs.captures = sides.before;
  if (const auto error = check_paths(inputs)) return fail(*error);
  inputs.captures = sides.after;
  if (const auto error = check_paths(inputs)) return fail(*error);
  auto roster = load_roster_if_named(options.roster);
  if (!roster) return fail(roster.error());
  auto schema = load_schema(options.schema, tell_problem);
  if (!schema) return fail(schema.error());
  auto before = load_side({sides.before, sides.before_day, "--before-day", "the side before"}, options,
                          *roster, *schema);
  if (!before) return fail(before.error());
  auto after =
      load_side({sides.after, sides.after_day, "--after-day", "the side after"}, options, *roster, *schema);
  if (!after) return fail(after.error());
  const Comparison comparison = compare(before->side, after->side);
  const int code = before->damaged || after->damaged     ? kDamagedInput
                   : comparison.count(Change::worse) > 0 ? kSomethingWrong
                                                         : kFine;
  return deliver(options, rendered(comparison, options), code);
}

}  // namespace

void add_compare_command(CLI::App& app, int& code) {
  auto options = std::make_shared<CommonOptions>();
  auto sides = std::make_shared<Sides>();
  CLI::App* command =
      app.add_subcommand("compare", "What changed: before and after a repair, an update, a winter");
  command->add_option(
      "SIDE", sides->both,
      "Before and after: a capture, a folder of captures, a parcel, or a JSON report (tramlog.report/1)");
  command
      ->add_option("--before", sides->before,
                   "One of several captures of the side before; give it again for each")
      ->expected(1)
      ->take_all();
  command
      ->add_option("--after", sides->after,
                   "One of several captures of the side after; give it again for each")
      ->expected(1)
      ->take_all();
  command->add_option("--before-day", sides->before_day,
                      "Of captures of several days on the side before: only this one (2026-11-24)");
  command->add_option("--after-day", sides->after_day,
                      "Of captures of several days on the side after: only this one (2026-11-26)");
  add_roster(*command, *options, false);
  add_schema(*command, *options);
  add_implement(*command, *options);
  command->add_option("--format", options->format, "One of: html, json, text")->capture_default_str();
  command->add_flag("--unicode", options->unicode,
                    "Text: keep characters outside ASCII as they were reported");
  add_output(*command, *options);
  command->footer(
      "Example:\n  tramlog compare --roster drill.toml before.pcapng after.pcapng\n  tramlog compare "
      "monday.json tuesday.eml\n  tramlog compare --before-day 2026-11-24 --after-day 2026-11-26 "
      "week/\n\n"
      "Dropouts, faults and trouble codes are compared as rates; a difference that a short recording cannot "
      "prove is told as such.\n\n"
      "Exit code: 0 nothing got worse, 1 something got worse, 2 wrong usage,\n"
      "3 an input is damaged or unreadable, 4 the environment failed.");
  command->callback([options, sides, &code] { code = run(*options, *sides); });
}

}  // namespace tramlog
