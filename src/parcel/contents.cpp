#include "parcel/contents.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <nlohmann/json.hpp>

#include "exam/words.hpp"
#include "report/page.hpp"

namespace tramlog {
namespace {

constexpr const char* kSchema = "tramlog.parcel/1";
constexpr std::size_t kMostListed = 40;

const char* what_is(std::string_view name) {
  if (name == kSummaryMember) return "the most important in under 60 lines; also the text of the mail";
  if (name == kPageMember) return "the report with pictures, for a browser; needs no connection";
  if (name == kTextMember) return "the whole report as text";
  if (name == kJsonMember) return "the report for programs (tramlog.report/1)";
  if (name == kRosterMember) return "what should be on this machine";
  if (name == kContentsMember) return "this list";
  if (name == kFactsMember) return "this list for programs";
  if (name.ends_with(".pool")) return "device description (object pool) as it came over the bus";
  return "slices of the recording (pcapng, packed with Zstandard)";
}

void tell_slices(Page& page, std::span<const Highlight> highlights, const HighlightPlan& plan) {
  page.heading("Slices of the recording");
  for (std::size_t i = 0; i < plan.spans.size(); ++i) {
    if (i == kMostListed) {
      page.item("  ", fmt::format("and {} more", plan.spans.size() - i));
      break;
    }
    const SliceSpan& span = plan.spans[i];
    page.item("  ", fmt::format("{} to {}", format_date_time(span.from), format_date_time(span.to)));
  }
  page.line();
  std::size_t listed = 0;
  for (std::size_t i = 0; i < highlights.size() && listed < kMostListed; ++i) {
    if (plan.margins[i] < 0) continue;
    page.item("  ",
              fmt::format("{}: with {} before and after", highlights[i].what, format_span(plan.margins[i])));
    ++listed;
  }
}

void tell_left_out(Page& page, const PackOrder& order, const std::vector<std::string>& left_out,
                   std::span<const Highlight> highlights, const HighlightPlan* plan) {
  page.heading("Left out");
  for (const std::string& name : left_out)
    page.item("- ", fmt::format("{}: too large for the limit of {} bytes (--limit).", name, order.limit));
  if (plan != nullptr && plan->whole) {
    page.item("- ", "Nothing of the recording: it is in it as a whole.");
    return;
  }
  page.item("- ", "The rest of the recording: whoever recorded it has it.");
  if (plan == nullptr) {
    page.item("- ", highlights.empty()
                        ? "Slices: nothing happened that needs one."
                        : fmt::format(
                              "All slices: there was no room for them below the limit of {} bytes (--limit).",
                              order.limit));
    return;
  }
  if (plan->shortened > 0)
    page.item("- ",
              fmt::format(
                  "{} shorter than the usual {} before and after, to keep the file below {} bytes (--limit).",
                  counted(plan->shortened, "slice is", "slices are"),
                  format_span(kMargins[std::size(kMargins) - 1]), order.limit));
  if (plan->left_out > 0) {
    page.item("- ", fmt::format("{} without a slice, for the same reason; the least important first:",
                                counted(plan->left_out, "moment is", "moments are")));
    std::size_t listed = 0;
    for (std::size_t i = 0; i < highlights.size() && listed < kMostListed; ++i)
      if (plan->margins[i] < 0) {
        page.item("  ", highlights[i].what);
        ++listed;
      }
  }
}

void tell_private(Page& page, const PrivateTally& tally) {
  page.heading("Private");
  page.item("- ",
            "Serial numbers, identity numbers of NAMEs, product codes and vehicle identifications are "
            "stand-ins of the same length: the "
            "same one everywhere for the same number, in reports, device descriptions, roster and captures.");
  page.item("- ", fmt::format("Positions ({}) are a made-up track that begins at 0/0 and goes due north; it "
                              "is as long as the true one. Altitudes are 0. "
                              "Satellites in view, destinations and reference stations are blanked.",
                              counted(tally.positions, "message", "messages")));
  page.item("- ", fmt::format("Notes of the technician ({}) and comments of the roster are removed; captures "
                              "are called capture-1, capture-2 and so on; buses with names of their own "
                              "can0, can1; what the recorder quoted is left out.",
                              tally.notes));
  page.item("- ", fmt::format("What nobody here can check is blanked: makers' own messages and those of "
                              "unknown meaning ({}; they become counters that change when "
                              "the message did), files on the file server, masks and texts of terminals, and "
                              "{} of transfers that were "
                              "not whole.",
                              counted(tally.blanked, "frame", "frames"),
                              counted(tally.blanked_packets, "packet", "packets")));
  page.item("- ",
            "What stays: time and date, speeds and headings, all values of the machine, names and versions "
            "that units report, numbers that a terminal shows. The bus "
            "load may differ a little: a frame of other bytes has other stuff bits.");
}

/// contents.json; an empty object if it makes no sense.
nlohmann::json facts_in(const Parcel& parcel) {
  const Member* facts = parcel.find(kFactsMember);
  if (facts == nullptr) return nlohmann::json::object();
  auto json = nlohmann::json::parse(facts->bytes, nullptr, false);
  if (!json.is_object() || json.value("schema", nlohmann::json()) != kSchema) return nlohmann::json::object();
  return json;
}

}  // namespace

std::string contents_text(const PackOrder& order, const std::vector<Member>& members,
                          const std::vector<std::string>& left_out, std::span<const Highlight> highlights,
                          const HighlightPlan* plan) {
  Page page(false);
  page.line("What is in this parcel");
  page.line();
  for (const Member& member : members) {
    page.row({fmt::format("  {}", member.name), fmt::format("{}", member.bytes.size()), what_is(member.name)},
             {34, 9});
  }
  page.line();
  page.line("tramlog report PARCEL shows the report; tramlog parcel --unpack PARCEL -o FOLDER");
  page.line("writes the files into a folder.");
  if (plan != nullptr) tell_slices(page, highlights, *plan);
  tell_left_out(page, order, left_out, highlights, plan);
  if (order.concealed) tell_private(page, *order.concealed);
  return page.take();
}

std::string contents_json(const PackOrder& order, const std::vector<Member>& members,
                          const std::vector<std::string>& left_out, std::span<const Highlight> highlights,
                          const HighlightPlan* plan) {
  nlohmann::ordered_json json;
  json["schema"] = kSchema;
  json["exit_code"] = order.exit_code;
  json["private"] = order.concealed.has_value();
  json["limit"] = order.limit;
  json["members"] = nlohmann::ordered_json::array();
  for (const Member& member : members)
    json["members"].push_back(
        {{"name", member.name}, {"bytes", member.bytes.size()}, {"what", what_is(member.name)}});
  json["slices"] = nlohmann::ordered_json::array();
  json["left_out"] = nlohmann::ordered_json::array();
  for (const std::string& name : left_out) json["left_out"].push_back(name);
  if (plan != nullptr)
    for (const SliceSpan& span : plan->spans)
      json["slices"].push_back({{"from", format_rfc3339(span.from)}, {"to", format_rfc3339(span.to)}});
  for (std::size_t i = 0; i < highlights.size(); ++i)
    if (plan == nullptr || plan->margins[i] < 0) json["left_out"].push_back(highlights[i].what);
  return json.dump(2, ' ', false, nlohmann::ordered_json::error_handler_t::replace) + "\n";
}

std::optional<int> exit_code_in(const Parcel& parcel) {
  const auto json = facts_in(parcel);
  const auto code = json.find("exit_code");
  if (code == json.end() || !code->is_number_integer()) return std::nullopt;
  const auto value = code->get<std::int64_t>();
  return value >= 0 && value <= 4 ? std::optional<int>(static_cast<int>(value)) : std::nullopt;
}

bool is_private_parcel(const Parcel& parcel) {
  const auto json = facts_in(parcel);
  const auto found = json.find("private");
  return found != json.end() && found->is_boolean() && found->get<bool>();
}

}  // namespace tramlog
