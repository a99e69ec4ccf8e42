#include "tool/days_report.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <filesystem>
#include <fstream>

#include "exam/words.hpp"
#include "io/capture_folder.hpp"
#include "io/text_file.hpp"
#include "report/days.hpp"
#include "tool/day_choice.hpp"

namespace tramlog {
namespace {

namespace fs = std::filesystem;

std::optional<Error> unfold(CommonOptions& options) {
  if (auto error = unfold_folders(options.captures)) return error;
  for (const std::string& path : options.captures)
    if (path == "-")
      return Error{ErrorKind::usage, "days cannot be told from standard input", "-",
                   "name files or a folder"};
  return check_paths(options);
}

std::string render_days(const DaysReport& report, const CommonOptions& options) {
  if (options.format == "json") return days_json(report);
  if (options.format == "html") return days_html(report);
  FormatOptions format;
  format.unicode = options.unicode;
  return days_page(report, options.format == "summary", format);
}

int one_day(const CommonOptions& options, const Format& format, const std::optional<Roster>& roster,
            const Schema& schema, bool damaged) {
  const auto report = examine(options, roster, schema);
  if (!report) return fail(report.error());
  const FormatOptions how{options.unicode, options.place};
  return deliver(options, format.report(report.value(), how),
                 damaged ? kDamagedInput : exit_code_of(report.value()));
}

// -o names a folder, if it is one or can be nothing else.
bool names_folder(const std::string& output) {
  return output.ends_with('/') || is_folder(output);
}

// Every page of ours allows itself nothing but its own style and script, and says so at its begin.
bool is_our_page(const std::string& path) {
  std::string head(2048, '\0');
  std::ifstream file(path, std::ios::binary);
  file.read(head.data(), static_cast<std::streamsize>(head.size()));
  return head.find("content=\"default-src 'none'; style-src 'unsafe-inline'; script-src 'sha256-") !=
         std::string::npos;
}

class Overview {
 public:
  Overview(const CommonOptions& options, const Format& format) : options_(options), format_(format) {
    pages_ = options.format == "html" && !options.output.empty();
  }

  // HTML with -o: the folder of the pages.
  std::optional<Error> begin(const SortedDays& sorted) {
    if (!pages_) return std::nullopt;
    std::error_code error;
    const bool there = fs::exists(options_.output, error);
    if (!names_folder(options_.output) && (there || options_.output.ends_with(".html")))
      return Error{ErrorKind::usage, "several days are several pages, and this is one file", options_.output,
                   "name a folder: -o pages/, or one of the days: --day"};
    std::vector<std::string> names{"index"};
    for (const DayOfCaptures& day : sorted.days) names.push_back(day.date);
    for (const std::string& name : names) {
      const std::string page = (fs::path(options_.output) / (name + ".html")).string();
      if (fs::exists(fs::symlink_status(page, error)) && !is_our_page(page))
        return Error{ErrorKind::usage, "a file that is no page of a report would be overwritten", page,
                     "name another folder with -o"};
    }
    fs::create_directories(options_.output, error);
    if (error || !fs::is_directory(options_.output))
      return Error{ErrorKind::environment, "cannot make the folder (" + error.message() + ")",
                   options_.output, "check its permissions"};
    return std::nullopt;
  }

  // One day at a time is in memory.
  std::optional<Error> add(const DayOfCaptures& day, const std::optional<Roster>& roster,
                           const Schema& schema) {
    CommonOptions own = options_;
    own.captures = day.paths;
    const auto report = examine(own, roster, schema);
    if (!report) {
      days_.unreadable.push_back(fmt::format("{}: {}", day.date, report.error().what));
      fail(report.error());
      worst_ = kDamagedInput;
      return std::nullopt;
    }
    worst_ = std::max(worst_, static_cast<int>(exit_code_of(report.value())));
    days_.days.push_back(day_record(report.value(), day.date));
    std::vector<std::string> names;
    for (const std::string& path : day.paths) names.push_back(fs::path(path).filename().string());
    days_.days.back().capture_count = names.size();
    if (names.size() > kDayCaptures) names.resize(kDayCaptures);
    days_.days.back().captures = std::move(names);
    if (!pages_) return std::nullopt;
    const FormatOptions how{options_.unicode, options_.place};
    const auto written = write_text((fs::path(options_.output) / (day.date + ".html")).string(),
                                    format_.report(report.value(), how));
    return written ? std::nullopt : std::optional(written.error());
  }

  int finish(const SortedDays& sorted) {
    days_.unreadable.insert(days_.unreadable.end(), sorted.unreadable.begin(), sorted.unreadable.end());
    days_.linked = pages_;
    if (sorted.damaged) worst_ = kDamagedInput;
    CommonOptions own = options_;
    if (pages_) own.output = (fs::path(options_.output) / "index.html").string();
    return deliver(own, render_days(days_, own), worst_);
  }

 private:
  const CommonOptions& options_;
  const Format& format_;
  DaysReport days_;
  bool pages_ = false;
  int worst_ = kFine;
};

}  // namespace

std::optional<Error> unfold_folders(std::vector<std::string>& captures) {
  std::vector<std::string> paths;
  for (const std::string& path : captures) {
    if (!is_folder(path)) {
      paths.push_back(path);
      continue;
    }
    const auto inside = captures_in_folder(path);
    if (!inside) return inside.error();
    paths.insert(paths.end(), inside.value().begin(), inside.value().end());
  }
  captures = std::move(paths);
  return std::nullopt;
}

bool wants_days(const CommonOptions& options, const std::string& day) {
  return !day.empty() || std::any_of(options.captures.begin(), options.captures.end(), is_folder);
}

int report_days(CommonOptions options, const std::string& day) {
  const Format* format = find_format(options.format);
  if (format == nullptr)
    return fail({ErrorKind::usage, "unknown format \"" + options.format + "\"", "--format",
                 "choose one of: " + format_names()});
  const std::string where = options.captures.empty() ? std::string() : options.captures.front();
  if (const auto error = unfold(options)) return fail(*error);
  if (options.captures.empty())
    return fail(
        {ErrorKind::usage, "no capture is named", "command line", "name captures, or a folder of them"});
  const auto roster = load_roster_if_named(options.roster);
  if (!roster) return fail(roster.error());
  const auto schema = load_schema(options.schema, tell_problem);
  if (!schema) return fail(schema.error());
  const SortedDays sorted = days_of(options.captures);
  if (sorted.days.empty())
    return fail(
        {ErrorKind::input,
         fmt::format("none of {} could be read", counted(options.captures.size(), "capture", "captures")),
         where, sorted.unreadable.front() + "; name another folder"});
  for (const std::string& file : sorted.unreadable)
    fail({ErrorKind::input, "a file is left out", file, "the others are reported"});
  const bool to_folder = options.format == "html" && names_folder(options.output);
  if (!day.empty() && to_folder)
    return fail({ErrorKind::usage, "one day is one page, and this is a folder", options.output,
                 "name a file: -o " + day + ".html"});
  if (!day.empty()) {
    auto chosen = captures_of_day(sorted, {day, "--day", where, ""});
    if (!chosen) return fail(chosen.error());
    options.captures = std::move(*chosen);
    return one_day(options, *format, roster.value(), schema.value(), sorted.damaged);
  }
  if (sorted.days.size() == 1 && !to_folder) {
    options.captures = sorted.days.front().paths;
    return one_day(options, *format, roster.value(), schema.value(), sorted.damaged);
  }
  Overview overview(options, *format);
  if (const auto error = overview.begin(sorted)) return fail(*error);
  for (const DayOfCaptures& one : sorted.days)
    if (const auto error = overview.add(one, roster.value(), schema.value())) return fail(*error);
  return overview.finish(sorted);
}

}  // namespace tramlog
