// What stands first: head, answer, main findings, roll call, pictures, story.
#include <fmt/format.h>

#include <algorithm>
#include <cctype>

#include "exam/story.hpp"
#include "exam/words.hpp"
#include "report/answer_page.hpp"
#include "report/findings_page.hpp"
#include "report/first_step.hpp"
#include "report/head.hpp"
#include "report/html/pictures.hpp"
#include "report/html/report_parts.hpp"
#include "report/sentences.hpp"
#include "report/story_page.hpp"

namespace tramlog {
namespace {

// A state word in capitals and two blanks before the sentence ("LOST  metering front: ..").
std::pair<std::string, std::string> state_and_sentence(const std::string& line) {
  const std::size_t end = line.find("  ");
  if (end == std::string::npos || end == 0) return {{}, line};
  const std::string word = line.substr(0, end);
  const bool capitals = std::all_of(word.begin(), word.end(),
                                    [](char c) { return (c >= 'A' && c <= 'Z') || c == ' ' || c == '-'; });
  if (!capitals) return {{}, line};
  return {word, line.substr(end + 2)};
}

std::string lower(std::string text) {
  for (char& c : text) c = static_cast<char>(std::tolower(static_cast<unsigned char>(c)));
  return text;
}

Tone tone_of(const std::string& word) {
  for (const char* trouble : {"MISSING", "LOST", "REFUSED", "BUS SILENT", "CAPTURE DAMAGED"})
    if (word == trouble) return Tone::trouble;
  for (const char* notice : {"INTERMITTENT", "WRONG-SOFTWARE", "MADE FROM A DAMAGED RECORDING", kWorthKnowing})
    if (word == notice) return Tone::notice;
  return Tone::doubt;  // what cannot be told, and what the recorder did not hear
}

Html state_badge(EntryState state, bool required) {
  const char* word = state_code(state);
  if (state == EntryState::present) return html_badge(Tone::good, word);
  if (!required && state == EntryState::missing) return html_badge(Tone::plain, word);
  return html_badge(tone_of(upper(word)), word);
}

Html state_badge(ControllerState state) {
  return state == ControllerState::present ? html_badge(Tone::good, "present")
                                           : html_badge(tone_of(upper(state_code(state))), state_code(state));
}

std::string held(const ControllerRecord& c) {
  return c.address != kNullAddress ? address_words(c.address) : "-";
}

}  // namespace

HtmlPage begin_page(const char* kind, const Report& report, const FormatOptions& options) {
  const Conclusions& all = report.found;
  HtmlPage page(kind, all.rollcall ? all.rollcall->machine : std::string());
  std::vector<std::string> names;
  for (const BusSummary& bus : all.buses) names.push_back(bus.name);
  std::vector<std::pair<Html, Html>> facts = {
      {"Recorded", fmt::format("{} to {} UTC ({})", format_date_time(all.start), format_date_time(all.end),
                               format_span(all.end - all.start))},
      {"Heard", fmt::format("{} on {}", counted(all.frames, "frame", "frames"),
                            names.empty() ? "no bus" : joined(names))}};
  // Words of the head of a text; there they are whole lines, here the first word is the label.
  const auto labelled = [&](const std::string& label, const std::string& words) {
    if (words.rfind(label + " ", 0) == 0) facts.emplace_back(label, words.substr(label.size() + 1));
  };
  labelled("Engine hours", hours_words(all.machine));
  labelled("Place", place_words(all.machine, options));
  Html slices;
  for (const std::string& part : slice_words(all)) {
    if (!slices.empty()) slices += Html::markup("<br>");
    slices += part;
  }
  if (!slices.empty()) facts.emplace_back("Slice", slices);
  Html captures;
  for (const std::string& capture : capture_words(report)) {
    if (!captures.empty()) captures += Html::markup("<br>");
    captures += capture;
  }
  if (!captures.empty()) facts.emplace_back(report.files.size() == 1 ? "Capture" : "Captures", captures);
  page.head(html_facts(facts));
  return page;
}

void answer_part(HtmlPage& page, const std::vector<std::string>& lines) {
  page.section("answer", "Answer");
  Html items;
  for (const std::string& line : lines) {
    const auto [word, sentence] = state_and_sentence(line);
    items +=
        html_element("li", (word.empty() ? Html() : html_badge(tone_of(word), lower(word)) + " ") + sentence);
  }
  page.add(html_element("ul", {{"class", "answer"}}, items));
}

void main_findings_part(HtmlPage& page, const Conclusions& all) {
  std::size_t more = 0;
  const std::vector<std::size_t> ranks = main_findings(all, &more);
  Html numbered;
  std::vector<Html> items;
  bool any_step = false;
  const auto first = [&](const std::string& step) {
    any_step = any_step || !step.empty();
    return step.empty() ? Html() : html_element("p", html_element("strong", "First: ") + step);
  };
  for (const std::size_t rank : ranks) {
    const std::vector<std::string>& steps = all.findings[rank].next_steps;
    // The numbers of the full list: a rival cause of the same trouble has one, too.
    const std::string number = std::to_string(rank + 1);
    numbered += html_element("li", {{"value", number}},
                             Html(finding_words(all, rank)) + " " +
                                 html_link("#finding-" + number, "Why, and what to do") +
                                 first(steps.empty() ? std::string() : steps.front()));
  }
  for (const std::size_t f : loose_faults(all)) {
    if (ranks.size() + items.size() >= kMainIncidents) break;
    const char* step = first_step(all.faults[f].code);
    items.push_back(Html(all.faults[f].text) + first(step != nullptr ? step : ""));
  }
  if (ranks.empty() && items.empty()) return;
  page.section("main-findings", "Main findings");
  if (!ranks.empty()) page.add(html_element("ol", numbered));
  if (!items.empty()) page.add(html_list(items));
  // Who goes to the machine with the first step in mind must have read it here.
  if (any_step) page.add(html_element("p", {{"class", "caution"}}, kWorkCaution));
  if (more > 0) page.paragraph(counted(more, "more is told", "more are told") + " below.");
}

void roll_call_part(HtmlPage& page, const Conclusions& all) {
  if (all.nothing_read()) return;
  if (!all.rollcall) {
    HtmlTable table("Who was on the bus", {"Controller", "State", "Address", "Software"});
    for (std::size_t i = 0; i < all.controllers.size(); ++i) {
      const ControllerRecord& c = all.controllers[i];
      table.row(
          {function_term(c.name) + on_bus(all, c.bus), state_badge(c.state), held(c), software_words(c)});
    }
    for (const UnclaimedRecord& u : all.unclaimed)
      table.row({"unknown" + on_bus(all, u.bus), html_badge(Tone::doubt, "never claimed"),
                 address_words(u.address), u.software.empty() ? "-" : joined(u.software)});
    if (table.empty()) return;
    page.section("roll-call", "Controllers");
    page.add(table.html());
    return;
  }
  HtmlTable table("Who should be here, and who is",
                  {"Controller", "State", "Address", "Software", "Remarks"});
  for (const RollcallEntry& entry : all.rollcall->entries) {
    const ControllerRecord* c = entry.controller ? &all.controllers[*entry.controller] : nullptr;
    table.row({entry.label + (entry.required ? "" : " (optional)"), state_badge(entry.state, entry.required),
               c != nullptr ? held(*c) : "-", c != nullptr ? software_words(*c) : "-", entry.detail});
  }
  for (const Name name : all.rollcall->extra)
    for (const ControllerRecord& c : all.controllers)
      if (c.name == name)
        table.row(
            {function_term(c.name) + on_bus(all, c.bus),
             c.state == ControllerState::present ? html_badge(Tone::plain, "present") : state_badge(c.state),
             held(c), software_words(c), "not in the roster"});
  page.section("roll-call", "Roll call");
  page.add(table.html());
}

void pictures_part(HtmlPage& page, const Conclusions& all) {
  const Html pictures = day_pictures(all);
  if (pictures.empty()) return;
  page.section("pictures", "In pictures");
  page.add(html_element("p", {{"class", "soft"}},
                        fmt::format("{} to {} UTC, {}", format_date_time(all.start),
                                    format_date_time(all.end), "the same time axis for all.")));
  page.add(pictures);
}

void story_part(HtmlPage& page, const Conclusions& all) {
  if (all.story.empty()) return;
  const StoryTimes told = story_times(all);
  HtmlTable table("Times: " + told.explained, {"Time", "What happened"});
  for (std::size_t i = 0; i < all.story.size(); ++i) {
    const StoryLine& line = all.story[i];
    Html words = line.text;
    if (line.finding) {
      const std::string number = std::to_string(*line.finding + 1);
      words += " " + html_link("#finding-" + number, "finding " + number);
    }
    table.row({told.times[i], words});
  }
  page.section("story", "What happened, in order");
  page.add(table.html());
}

}  // namespace tramlog
