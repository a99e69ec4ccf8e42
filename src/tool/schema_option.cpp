// Options that choose and narrow what is decoded: schema files, time, units, filters.
#include "tool/command.hpp"

namespace tramlog {
void add_schema(CLI::App& command, CommonOptions& options) {
  command
      .add_option(
          "--schema", options.schema,
          "Messages and signals of your own: a .dbc or .csv file, or a folder of them; again and again")
      ->allow_extra_args(false);
}

void add_time_span(CLI::App& command, CommonOptions& options) {
  command.add_option("--from", options.from,
                     "Begin: time of day (06:12:41, UTC), date and time, or seconds from the start (12.5)");
  command.add_option("--to", options.to, "End, in the same ways");
}

void add_units(CLI::App& command, CommonOptions& options) {
  command.add_option("--units", options.units, "Units of the values. One of: metric, imperial, us");
}

void add_filter(CLI::App& command, DecodeFilter& filter) {
  const auto add = [&](const char* name, std::vector<std::string>& values, const char* text) {
    command.add_option(name, values, text)->allow_extra_args(false);
  };
  add("--controller", filter.controllers,
      "Only from this sender: label of the roster, function, NAME in hex, or address; again and again");
  add("--message", filter.messages,
      "Only this message: name, pattern such as 'Wheel*', or PGN; again and again");
  add("--signal", filter.signals,
      "Only this signal: name, Message.Signal, pattern, spn:N or ddi:N; again and again");
  add("--bus", filter.buses, "Only this bus: name or pattern; again and again");
  command.add_flag("--changes", filter.only_changes,
                   "Leave out messages that say the same as the one before");
}

std::optional<Error> parse_time_span(const CommonOptions& options, DecodeFilter& filter) {
  const auto parse = [](const std::string& text, const char* option,
                        std::optional<TimeBound>& bound) -> std::optional<Error> {
    if (text.empty()) return std::nullopt;
    const auto parsed = parse_time_bound(text, option);
    if (!parsed) return parsed.error();
    bound = parsed.value();
    return std::nullopt;
  };
  if (auto error = parse(options.from, "--from", filter.from)) return error;
  if (auto error = parse(options.to, "--to", filter.to)) return error;
  if (filter.from && filter.to && filter.from->kind == filter.to->kind &&
      filter.from->kind != TimeBound::Kind::time_of_day && filter.from->ns > filter.to->ns)
    return Error{ErrorKind::usage, "the span ends before it begins",
                 "--from " + options.from + " --to " + options.to, "give the earlier time to --from"};
  return std::nullopt;
}

Result<std::optional<UnitSystem>> parse_units(const CommonOptions& options) {
  if (options.units.empty()) return std::optional<UnitSystem>();
  const auto units = parse_unit_system(options.units);
  if (!units)
    return Error{ErrorKind::usage, "unknown units \"" + options.units + "\"", "--units",
                 "choose one of: metric, imperial, us"};
  return units;
}

}  // namespace tramlog
