#include "daemon/request_desk.hpp"

#include "base/text.hpp"
#include "control/words.hpp"
#include "report/format.hpp"

namespace tramlog {
namespace {

using control::flag_of;
using control::text_of;
using nlohmann::json;

constexpr std::size_t kLongestMark = 900;  // bytes; a block of the capture holds 1,000

void refuse(const GiveAnswer& give, ErrorKind kind, std::string what, std::string where, std::string remedy) {
  give({control::refusal({kind, std::move(what), std::move(where), std::move(remedy)}), ""});
}

}  // namespace

void RequestDesk::answer(const json& request, GiveAnswer give) {
  const std::string wish = text_of(request, "do");
  if (wish == "status") return status(request, give);
  if (wish == "report" || wish == "rollcall") return report(request, wish == "rollcall", std::move(give));
  if (wish == "mark") return mark(request, give);
  if (wish == "standstill") return standstill(request, give);
  refuse(give, ErrorKind::usage, "unknown request \"" + printable_utf8(wish) + "\"", "control socket",
         "check that tramlog and tramlogd are of one version");
}

void RequestDesk::status(const json& request, const GiveAnswer& give) {
  const std::string format = text_of(request, "format");
  if (format != "text" && format != "json")
    return refuse(give, ErrorKind::usage, "unknown format \"" + printable_utf8(format) + "\"", "--format", "choose one of: json, text");
  const DaemonStatus now = hooks_.status();
  give({{{"ok", true}, {"exit", needs_attention(now) ? 1 : 0}}, format == "json" ? status_json(now) : status_text(now)});
}

void RequestDesk::report(const json& request, bool rollcall, GiveAnswer give) {
  const std::string format = text_of(request, "format");
  if (find_format(format) == nullptr)
    return refuse(give, ErrorKind::usage, "unknown format \"" + printable_utf8(format) + "\"", "--format", "choose one of: " + format_names());
  std::optional<Roster> roster;
  if (const auto given = request.find("roster"); given != request.end() && given->is_string()) {
    auto parsed = parse_roster(given->get<std::string>(), text_of(request, "roster_name"));
    if (!parsed) return give({control::refusal(parsed.error()), ""});
    roster = std::move(*parsed);
  }
  if (rollcall && !roster && !desk_.has_roster())
    return refuse(give, ErrorKind::usage, "nobody said who should be on this machine", "--roster",
                  "give --roster FILE, or name one in the recorder's configuration ([machine] roster)");
  desk_.render(format, rollcall, {flag_of(request, "unicode"), flag_of(request, "place")}, std::move(roster), [give = std::move(give)](LiveDesk::Rendered rendered) {
    if (rendered.died)
      return refuse(give, ErrorKind::environment, "the report could not be made", "recorder",
                    "the recorder's machine may be short of memory; the recording goes on");
    give({{{"ok", true},
           {"exit", rendered.exit_code},
           {"unrecorded", rendered.unrecorded},
           {"segment", rendered.segment},
           {"segment_bytes", rendered.segment_bytes}},
          std::move(rendered.text)});
  });
}

void RequestDesk::mark(const json& request, const GiveAnswer& give) {
  const std::string text = text_of(request, "text");
  const bool empty = text.find_first_not_of(" \t\r\n") == std::string::npos;
  if (empty || text.size() > kLongestMark)
    return refuse(give, ErrorKind::usage, empty ? "the note is empty" : "the note is longer than 900 bytes", "mark",
                  "write what happened, in a sentence");
  RecorderNote note;
  note.kind = RecorderNote::Kind::mark;
  note.text = text;
  const auto time = hooks_.note(std::move(note));
  if (!time) return refuse(give, ErrorKind::environment, "the recorder is ending: nothing was noted", "mark", "start it again, then note it");
  give({{{"ok", true}, {"exit", 0}, {"time", format_rfc3339(*time)}}, "noted at " + format_date_time(*time) + " UTC\n"});
}

void RequestDesk::standstill(const json& request, const GiveAnswer& give) {
  const std::string bus = text_of(request, "bus");
  const auto verdict = hooks_.standstill(bus);
  if (!verdict)
    return refuse(give, ErrorKind::usage, "the recorder knows no bus of this name", printable_utf8(bus), "tramlog status lists the buses");
  give({{{"ok", true}, {"exit", 0}, {"reasons", verdict->reasons}, {"knows_speed", verdict->knows_speed}}, ""});
}

}  // namespace tramlog
