// tramlog export: chosen signals as time series, everything as a database.
#include <fmt/format.h>

#include <filesystem>

#include "base/text.hpp"
#include "decode/export_database.hpp"
#include "decode/export_events.hpp"
#include "decode/export_series.hpp"
#include "io/table_writer.hpp"
#include "tool/command.hpp"
#include "tool/progress.hpp"

namespace tramlog {
namespace {

struct ExportOptions {
  CommonOptions common;  // format: "" = by the output's name
  DecodeFilter filter;
  std::string every, take;  // "" = not given
  bool codes = false;
  bool events = false;
};

/// What is made of the options before anything is opened.
struct Plan {
  enum class Format : std::uint8_t { csv, json_lines, sqlite } format = Format::csv;
  std::optional<UnitChoice> units;
  SeriesOptions series;
  std::vector<SignalColumn> columns;
  bool chosen = false;  // by --signal or --message
};

Error usage(std::string what, std::string where, std::string remedy) {
  return {ErrorKind::usage, std::move(what), std::move(where), std::move(remedy)};
}

Result<Plan::Format> format_of(const CommonOptions& options) {
  std::string word = options.format;
  if (word.empty()) {
    word = folded(std::filesystem::path(options.output).extension().string());
    word = word == ".jsonl" || word == ".json"  ? "jsonl"
           : word == ".sqlite" || word == ".db" ? "sqlite"
                                                : "csv";
  }
  if (word == "csv") return Plan::Format::csv;
  if (word == "jsonl" || word == "json") return Plan::Format::json_lines;
  if (word != "sqlite")
    return usage("unknown format \"" + word + "\"", "--format", "choose one of: csv, jsonl, sqlite");
  if (options.output.empty() || options.output == "-")
    return usage("a database cannot be written to standard output", "--format sqlite", "name a file with -o");
  return Plan::Format::sqlite;
}

/// What does not go together.
std::optional<Error> contradiction(const ExportOptions& options, const Plan& plan) {
  const DecodeFilter& filter = options.filter;
  if (options.events) {
    if (plan.chosen || !filter.controllers.empty() || filter.only_changes || !options.every.empty())
      return usage("events belong to no message and no controller", "--events",
                   "leave out --signal, --message, --controller, --changes and --every");
  } else if (!plan.chosen) {
    if (plan.format != Plan::Format::sqlite)
      return usage("which signals?", plan.format == Plan::Format::csv ? "csv" : "jsonl",
                   "name them with --signal, or their messages with --message; --events exports the events; "
                   "--format sqlite takes everything");
    if (!options.every.empty())
      return usage("which signals?", "--every", "name them with --signal, or their messages with --message");
  }
  if (filter.only_changes && !options.every.empty())
    return usage("--changes leaves out what repeats itself, so steps would be empty and their means wrong",
                 "--every with --changes", "leave out one of the two");
  if (!options.take.empty() && options.every.empty())
    return usage("--take needs a step of time", "--take", "give it with --every, for example --every 1s");
  return std::nullopt;
}

Result<Plan> make_plan(const ExportOptions& options, const Schema& schema,
                       const std::optional<Roster>& roster) {
  Plan plan;
  const auto format = format_of(options.common);
  if (!format) return format.error();
  plan.format = format.value();
  plan.chosen = !options.filter.signals.empty() || !options.filter.messages.empty();
  if (const auto error = contradiction(options, plan)) return *error;
  const auto units = parse_units(options.common);
  if (!units) return units.error();
  if (units.value()) plan.units = UnitChoice::all(*units.value());
  if (!options.every.empty()) {
    const auto every = parse_period(options.every);
    if (!every) return every.error();
    plan.series.every = every.value();
  }
  if (!options.take.empty()) {
    auto takes = parse_takes(options.take);
    if (!takes) return takes.error();
    plan.series.takes = std::move(*takes);
  }
  plan.series.code_words = !options.codes;
  if (plan.format == Plan::Format::sqlite) {
    plan.series.code_words = false;  // the words stand in a table of their own
    plan.series.time_column = "time_ns";
  }
  if (plan.chosen) {
    auto columns =
        choose_columns(schema, options.filter, roster, plan.units, SeriesExport::fixed_columns(plan.series));
    if (!columns) return columns.error();
    plan.columns = std::move(*columns);
    if (plan.columns.empty())
      return usage("these messages have no signals in the schema", "--message",
                   "tramlog schema shows what is known; add a DBC file with --schema");
  }
  return plan;
}

Result<std::unique_ptr<TableWriter>> make_writer(const Plan& plan, const std::string& path) {
  switch (plan.format) {
    case Plan::Format::csv:
      return make_csv_writer(path);
    case Plan::Format::json_lines:
      return make_json_lines_writer(path);
    case Plan::Format::sqlite:
      break;
  }
  return make_sqlite_writer(path);
}

void note(const std::string& what, const std::string& where, const std::string& remedy) {
  fmt::print(stderr, "tramlog: {} : {} : {}\n", printable_utf8(what), printable_utf8(where),
             printable_utf8(remedy));
}

/// The one of the sinks that does the work, and how to end it.
struct Work {
  std::unique_ptr<SeriesExport> series;
  std::unique_ptr<DatabaseExport> database;
  std::unique_ptr<EventExport> events;

  DecodeSink& sink() {
    if (series) return *series;
    if (database) return *database;
    return *events;
  }
  std::uint64_t rows() const {
    return series ? series->rows() : database ? database->rows() : events->rows();
  }
};

Work make_work(const ExportOptions& options, const Plan& plan, const Schema& schema, TableWriter& out) {
  Work work;
  const bool sqlite = plan.format == Plan::Format::sqlite;
  if (options.events) {
    work.events = std::make_unique<EventExport>(out, plan.series.time_column);
  } else if (sqlite && plan.series.every == 0) {
    const bool events = !plan.chosen && options.filter.controllers.empty();
    work.database = std::make_unique<DatabaseExport>(schema, plan.columns, plan.units, events, out);
  } else {
    work.series = std::make_unique<SeriesExport>(plan.columns, plan.series, out);
    if (sqlite) {
      SignalTables tables(schema, out);
      for (const auto& [name, column] : work.series->value_columns())
        tables.add(plan.series.table, name, plan.columns[column]);
    }
  }
  return work;
}

/// The table `capture`: what was read, and by whom.
void add_capture_table(const CaptureSource& source, TableWriter& out) {
  using Type = Column::Type;
  Table table;
  table.name = "capture";
  table.comment = "what was read, in the order of time";
  table.columns = {{"file", Type::text, "", "", false, {}},
                   {"fingerprint", Type::text, "", "of all packets that were read", false, {}},
                   {"packets", Type::integer, "", "", false, {}},
                   {"foreign_packets", Type::integer, "", "no CAN frames", false, {}},
                   {"damaged_bytes", Type::integer, "", "", false, {}},
                   {"exported_by", Type::text, "", "", false, {}}};
  const TableId id = out.add_table(std::move(table));
  for (const CaptureFile& file : source.files()) {
    const std::string name = printable_utf8(std::filesystem::path(file.name).filename().string());
    const Cell cells[] = {Cell::of_text(name),
                          Cell::of_text(file.fingerprint),
                          Cell::of_integer(static_cast<std::int64_t>(file.packets)),
                          Cell::of_integer(static_cast<std::int64_t>(file.foreign)),
                          Cell::of_integer(static_cast<std::int64_t>(file.damaged_bytes)),
                          Cell::of_text("tramlog " TRAMLOG_VERSION)};
    out.row(id, cells);
  }
}

/// What found no place in the tables.
void tell_left_out(const Work& work) {
  if (work.series && work.series->left_out() > 0)
    note(fmt::format("{} messages found no room, because too many senders spoke in one step",
                     work.series->left_out()),
         "export", "choose fewer signals or a shorter step");
  if (work.database) {
    for (const ExportNote& told : work.database->notes()) note(told.what, "export", told.remedy);
    if (work.database->unknown_messages() > 0)
      note(fmt::format("{} messages are not in the schema and were left out",
                       work.database->unknown_messages()),
           "export", "add a DBC file with --schema");
    if (work.database->loose_frames() > 0)
      note(fmt::format("{} frames are pieces of no whole message and were left out",
                       work.database->loose_frames()),
           "export", "tramlog decode shows them");
  }
  if (work.rows() == 0)
    note("nothing of what was chosen is in the capture", "export", "tramlog decode shows what is there");
}

int run(ExportOptions& options) {
  if (const auto error = parse_time_span(options.common, options.filter)) return fail(*error);
  if (const auto error = check_paths(options.common)) return fail(*error);
  auto roster = load_roster_if_named(options.common.roster);
  if (!roster) return fail(roster.error());
  auto schema = load_schema(options.common.schema, tell_problem);
  if (!schema) return fail(schema.error());
  auto plan = make_plan(options, *schema, *roster);
  if (!plan) return fail(plan.error());
  auto source = CaptureSource::open(options.common.captures);
  if (!source) return fail(source.error());
  auto writer = make_writer(*plan, options.common.output);
  if (!writer) return fail(writer.error());
  TableWriter& out = **writer;
  Work work = make_work(options, *plan, *schema, out);
  auto interpreter = Interpreter::make(*schema, options.filter, std::move(*roster), work.sink());
  if (!interpreter) return fail(interpreter.error());

  Interpreter& decoder = **interpreter;
  {
    Progress progress;
    while (!decoder.past_span() && !out.failed()) {
      const std::span<const Event> events = source->read();
      if (events.empty()) break;
      decoder.take(events);
      progress.add(events.size());
    }
    decoder.finish();
    if (work.series) work.series->finish();
    if (plan->format == Plan::Format::sqlite) add_capture_table(*source, out);
  }
  if (const auto error = check_copies(*source)) return fail(*error);
  const auto written = out.finish();
  if (!written) return fail(written.error());
  tell_left_out(work);
  return tell_losses(*source, decoder.losses(), "exported");
}

}  // namespace

void add_export_command(CLI::App& app, int& code) {
  auto options = std::make_shared<ExportOptions>();
  options->common.format.clear();
  CLI::App* command =
      app.add_subcommand("export", "Decoded signals and events as CSV, JSON Lines or an SQLite database");
  add_captures(*command, options->common);
  add_schema(*command, options->common);
  add_roster(*command, options->common, false);
  add_time_span(*command, options->common);
  add_filter(*command, options->filter);
  add_units(*command, options->common);
  command->add_option(
      "--every", options->every,
      "One row a step of this length (250ms, 1s, 5m) and sender, instead of one a message. "
      "Steps begin at whole multiples of the length since 1970-01-01 UTC; a row's time is the "
      "beginning of its step; a step in which nothing was heard has no row. Not with --changes");
  command->add_option(
      "--take", options->take,
      "What a step's readings become: last, mean (arithmetic), min, max, with commas between; "
      "codes, multiplexors and texts: always the last; the column's name tells which, unless it is only last "
      "[last]");
  command->add_flag("--codes", options->codes, "CSV, JSON Lines: codes as numbers, not as their words");
  command->add_flag("--events", options->events,
                    "Only what the recorder told: error frames, statistics, link changes, losses, damage");
  command->add_option("--format", options->common.format,
                      "One of: csv, jsonl (or json: the same), sqlite; else by the output's name (.csv, .jsonl, "
                      ".json, .sqlite, .db)");
  add_output(*command, options->common);
  command->footer(
      "Examples:\n"
      "  tramlog export monday.pcapng --signal WheelBasedSpeed --signal RearHitchPosition -o speed.csv\n"
      "  tramlog export monday.pcapng --signal 'Wheel*' --every 1s --take mean,max -o speed.csv\n"
      "  tramlog export monday.pcapng -o monday.sqlite\n\n"
      "CSV: a text that a spreadsheet would run as a formula gets its first sign as a code\n"
      "(\"=\" becomes \"\\x3d\"). A database that is there is replaced only if tramlog wrote it.\n\n"
      "Exit code: 0 done, 2 wrong usage, 3 a capture is damaged or unreadable,\n"
      "4 the environment failed.");
  command->callback([options, &code] { code = run(*options); });
}

}  // namespace tramlog
