// tramlog parcel: everything support needs in one file, and back out of it.
#include "tool/parcel_command.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cstdio>
#include <filesystem>
#include <string_view>

#include "base/text.hpp"
#include "io/fingerprint.hpp"
#include "io/text_file.hpp"
#include "parcel/contents.hpp"
#include "parcel/leaks.hpp"
#include "parcel/pack.hpp"
#include "parcel/private_roster.hpp"
#include "parcel/unpack.hpp"
#include "report/format.hpp"
#include "slice/slicer.hpp"
#include "tool/command.hpp"
#include "tool/day_choice.hpp"
#include "tool/days_report.hpp"
#include "tool/implement_option.hpp"

namespace tramlog {
namespace {

struct ParcelChoice : CommonOptions {
  std::string limit = "8MB";
  bool is_private = false;
  std::string unpack;
  std::string day;  // of captures of several days
};

/// Everything that one parcel is made from. Read several times: the captures.
class ParcelMaker {
 public:
  explicit ParcelMaker(ParcelChoice choice) : choice_(std::move(choice)) {}

  int run() {
    if (const auto error = make()) return fail(*error);
    return damaged_ || code_ == kDamagedInput ? kDamagedInput : kFine;
  }

 private:
  std::optional<Error> make() {
    const auto kind = parcel_kind_of(choice_.output);
    if (!kind)
      return Error{ErrorKind::usage,
                   choice_.output.empty() ? "nobody said where to write the parcel"
                                          : "neither a mail nor a zip archive",
                   choice_.output.empty() ? "-o" : choice_.output,
                   "name a file that ends in .eml or .zip: -o monday.eml"};
    if (std::find(choice_.captures.begin(), choice_.captures.end(), "-") != choice_.captures.end())
      return Error{ErrorKind::usage, "a parcel reads its captures several times", "-",
                   "write standard input to a file first"};
    auto limit = parse_size(choice_.limit);
    if (!limit) return limit.error();
    const std::string where = choice_.captures.front();
    if (auto error = unfold_folders(choice_.captures)) return error;
    if (auto error = check_paths(choice_)) return error;
    if (auto error =
            choose_day(choice_.captures, {choice_.day, "--day", where, "these are recordings"}, damaged_))
      return error;
    auto schema = load_schema(choice_.schema, tell_problem);
    if (!schema) return schema.error();
    if (auto error = load_own_roster()) return error;
    if (choice_.is_private)
      if (auto error = learn(*schema)) return error;

    auto report = examined(*schema);
    if (!report) return report.error();
    code_ = exit_code_of(*report);
    PackOrder order;
    order.report = &*report;
    order.exit_code = code_;
    order.place = choice_.place && !choice_.is_private;
    order.kind = *kind;
    order.limit = *limit;
    order.roster_text = roster_text_;
    order.density = &*density_;
    if (bus_) order.concealed = bus_->tally();
    order.slice = [&](std::span<const SliceSpan> spans, const std::string& path) {
      return slice(spans, path);
    };
    auto packed = pack(order);
    if (!packed) return packed.error();
    if (bus_)
      if (auto error = find_leak(packed->bytes, bus_->terms(), *schema)) return error;
    const auto written = write_text(choice_.output, packed->bytes);
    if (!written) return written.error();
    fmt::print(stderr, "tramlog: {} written : {} : {}\n", choice_.is_private ? "private parcel" : "parcel",
               printable_utf8(choice_.output), packed->remark);
    return std::nullopt;
  }

  std::optional<Error> load_own_roster() {
    if (choice_.roster.empty()) return std::nullopt;
    auto text = read_text_file(choice_.roster, kMaxRosterBytes);
    if (!text) return text.error();
    auto roster = parse_roster(*text, choice_.roster);
    if (!roster) return roster.error();
    roster_text_ = std::move(*text);
    auto loaded = load_roster(choice_.roster);
    if (!loaded) return loaded.error();
    roster_ = std::move(*loaded);
    return std::nullopt;
  }

  template <class Use>
  std::optional<Error> for_all_events(Use use) {
    auto source = CaptureSource::open(choice_.captures);
    if (!source) return source.error();
    for (;;) {
      const std::span<const Event> events = source->read();
      if (events.empty()) return std::nullopt;
      use(events);
    }
  }

  std::optional<Error> learn(const Schema& schema) {
    const Error too_many{ErrorKind::input,
                         "more NAMEs and serial numbers are on this bus than can be kept apart", "--private",
                         "cut a shorter part of the recording first (tramlog cut)"};
    PrivateTerms terms;
    bool room = !roster_ || learn_roster(*roster_, terms);
    // What is wrong with them is told when they are examined.
    auto implements = load_implement_options(choice_, schema, [](const Error&) {});
    if (!implements) return implements.error();
    for (const KnownPool& pool : implements->pools) {
      if (pool.name) room = terms.learn_name(*pool.name) && room;
      room = PrivateRules::learn_pool(pool.bytes, terms) && room;
    }
    if (!room) return too_many;
    bus_.emplace(schema, std::move(terms));
    if (auto error = for_all_events([&](std::span<const Event> events) { bus_->learn(events); }))
      return error;
    if (!bus_->settle()) return too_many;
    if (auto error = for_all_events([&](std::span<const Event> events) { bus_->plan(events); })) return error;
    bus_->planned();
    if (!roster_) return std::nullopt;
    auto text = private_roster(roster_text_, choice_.roster, bus_->terms());
    if (!text) return text.error();
    auto roster = parse_roster(*text, kRosterMember);
    if (!roster) return roster.error();
    roster_text_ = std::move(*text);
    roster_ = std::move(*roster);
    return std::nullopt;
  }

  Result<Report> examined(const Schema& schema) {
    TimeNs first = INT64_MAX, last = INT64_MIN;
    if (auto error = for_all_events([&](std::span<const Event> events) {
          for (const Event& event : events) {
            if (event.kind == EventKind::notice) continue;
            first = std::min(first, event.time);
            last = std::max(last, event.time);
          }
        }))
      return *error;
    density_.emplace(first <= last ? first : 0, first <= last ? last : 0);
    Fingerprint fingerprint;
    Intervention intervention;
    intervention.events = [&](std::span<const Event> events) {
      const std::span<const Event> shown = bus_ ? bus_->conceal(events) : events;
      for (const Event& event : shown) {
        if (event.kind == EventKind::notice) continue;
        density_->add(event.time);
        if (event.kind != EventKind::foreign && bus_) fingerprint.add(event);
      }
      return shown;
    };
    if (bus_)
      intervention.implements = [&](ImplementOptions& options) {
        for (KnownPool& pool : options.pools) {
          if (pool.name) pool.name = bus_->terms().stand_in(*pool.name);
          PrivateRules::rewrite_pool(pool.bytes, bus_->terms());
          pool.words = pool.source == PoolSource::given ? "given by the user" : "pool library";
        }
      };
    auto report = examine(choice_, roster_, schema, intervention);
    density_->close();
    if (!report || !bus_) return report;
    report->stand_ins = true;
    // The fingerprint of the true packets would tell whose recording this is.
    for (std::size_t i = 0; i < report->files.size(); ++i) report->files[i] = fingerprint.text();
    report->names.clear();
    for (std::size_t i = 0; i < report->files.size(); ++i)
      report->names.push_back(fmt::format("capture-{}", i + 1));
    return report;
  }

  std::optional<Error> slice(std::span<const SliceSpan> spans, const std::string& path) {
    auto writer = CaptureWriter::create(path);
    if (!writer) return writer.error();
    if (bus_) bus_->restart();
    Slicer slicer({joined_spans({spans.begin(), spans.end()}), {}, "what the report tells of", bus_.has_value()}, *writer);
    if (auto error = for_all_events(
            [&](std::span<const Event> events) { slicer.take(bus_ ? bus_->conceal(events) : events); }))
      return error;
    slicer.finish();
    const auto done = writer->finish();
    if (!done) return done.error();
    return std::nullopt;
  }

  ParcelChoice choice_;
  std::optional<Roster> roster_;
  std::string roster_text_;
  std::optional<PrivateBus> bus_;
  std::optional<Density> density_;
  int code_ = kFine;
  bool damaged_ = false;  // a capture was left out because it could not be read
};

int unpack(const ParcelChoice& choice) {
  if (!choice.captures.empty())
    return fail({ErrorKind::usage, "--unpack takes one parcel and no captures", choice.captures.front(),
                 "leave the captures out"});
  if (!choice.day.empty())
    return fail({ErrorKind::usage, "a day is chosen when a parcel is made", "--day", "leave it out"});
  if (choice.output.empty())
    return fail(
        {ErrorKind::usage, "nobody said where to unpack the parcel", "-o", "name a folder: -o monday"});
  auto parcel = load_parcel(choice.unpack);
  if (!parcel) return fail(parcel.error());
  auto written = unpack_parcel(*parcel, choice.output);
  if (!written) return fail(written.error());
  std::string listing;
  for (const std::string& path : *written) listing += printable_utf8(path) + "\n";
  return deliver(CommonOptions{}, listing, kFine);
}

/// Printable line by line; line ends stay.
std::string printable_lines(std::string_view text) {
  std::string lines;
  lines.reserve(text.size());
  while (!text.empty()) {
    const std::size_t end = std::min(text.find('\n'), text.size());
    std::string_view line = text.substr(0, end);
    if (line.ends_with('\r')) line.remove_suffix(1);
    lines += printable_utf8(line);
    if (end < text.size()) lines += '\n';
    text.remove_prefix(std::min(end + 1, text.size()));
  }
  return lines;
}

}  // namespace

int deliver_stored_report(const CommonOptions& options, const std::string& path) {
  auto parcel = load_parcel(path);
  if (!parcel) return fail(parcel.error());
  struct Stored {
    const char* format;
    const char* member;
  };
  static constexpr Stored kStored[] = {
      {"text", kTextMember}, {"json", kJsonMember}, {"html", kPageMember}, {"summary", kSummaryMember}};
  const auto* stored = std::find_if(std::begin(kStored), std::end(kStored),
                                    [&](const Stored& s) { return options.format == s.format; });
  const Member* member = stored == std::end(kStored) ? nullptr : parcel->find(stored->member);
  if (member == nullptr)
    return fail({ErrorKind::usage, "the parcel holds no report of the format \"" + options.format + "\"",
                 path, "unpack it and examine the slices: tramlog parcel --unpack"});
  const auto code = exit_code_in(*parcel);
  if (!code)
    return fail(
        {ErrorKind::input, "contents.json of the parcel makes no sense", path, "ask for the parcel again"});
  // A page and JSON are for programs; text goes to a terminal, and whoever packed it may be a stranger.
  const bool for_people = options.format == "text" || options.format == "summary";
  return deliver(options, for_people ? printable_lines(member->bytes) : member->bytes, *code);
}

void add_parcel_command(CLI::App& app, int& code) {
  auto choice = std::make_shared<ParcelChoice>();
  CLI::App* command = app.add_subcommand("parcel", "Everything that support needs in one file to e-mail");
  add_captures(*command, *choice, false);
  add_roster(*command, *choice, false);
  add_schema(*command, *choice);
  add_implement(*command, *choice);
  add_place(*command, *choice);
  command->add_option("-o,--output", choice->output,
                      "The parcel: a mail (.eml) or an archive (.zip); with --unpack a folder");
  command->add_option("--limit", choice->limit, "The finished file is not larger: 8MB, 500kB")
      ->capture_default_str();
  command->add_flag("--private", choice->is_private,
                    "Without positions, serial numbers and notes, in reports and captures alike");
  command->add_option("--day", choice->day,
                      "Of captures of several days: only this one (2026-11-24)");
  command->add_option("--unpack", choice->unpack, "Write what is in this parcel into the folder of -o");
  command->footer(
      "Example:\n  tramlog parcel --roster drill.toml --private monday.pcapng.zst -o monday.eml\n  tramlog "
      "report monday.eml\n  "
      "tramlog parcel --unpack monday.eml -o monday\n  tramlog parcel --day 2026-11-24 week/ -o tuesday.eml\n\n"
      "Exit code: 0 written, 2 wrong usage, 3 a capture is damaged (the parcel is written all the same) "
      "or\nunreadable, "
      "4 the environment failed, or --private cannot be promised: nothing is written.");
  command->callback([choice, &code] {
    if (!choice->unpack.empty())
      code = unpack(*choice);
    else if (choice->captures.empty())
      code =
          fail({ErrorKind::usage, "nobody said what to send", "command line", "name one or more captures"});
    else
      code = ParcelMaker(*choice).run();
  });
}

}  // namespace tramlog
