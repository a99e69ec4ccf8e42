// The summary keeps its size whatever a machine and its names are; and every fault has a first step.
#include <fmt/format.h>

#include <algorithm>
#include <catch2/catch.hpp>
#include <fstream>
#include <string>

#include "report/first_step.hpp"
#include "report/format.hpp"
#include "report/text_limits.hpp"

using namespace tramlog;

namespace {

constexpr TimeNs kStart = 1'775'541'120'000'000'000;  // 2026-04-07 05:52:00

std::vector<std::string> lines_of(const std::string& text) {
  std::vector<std::string> lines(1);
  for (const char c : text)
    if (c == '\n')
      lines.emplace_back();
    else
      lines.back() += c;
  lines.pop_back();
  return lines;
}

// Everything at once, with names as long and as strange as a file may hold.
Report monstrous(std::size_t count, const std::string& word) {
  Report report;
  Conclusions& all = report.found;
  all.start = kStart;
  all.end = kStart + 10 * kHour;
  all.frames = 1;
  all.buses.resize(8);
  all.rollcall.emplace();
  all.rollcall->machine = word;
  all.machine.hours_first = 1e300;
  all.machine.hours_last = 2e300;
  all.machine.place = MachineRecord::Place{-52.5, -9.25};
  for (std::size_t b = 0; b < 8; ++b) {
    all.buses[b].name = word;
    for (std::size_t i = 0; i < count; ++i) all.buses[b].blind.push_back({kStart, kStart + kSecond, 1, word});
  }
  for (std::size_t i = 0; i < count; ++i) {
    report.names.push_back(word);
    ControllerRecord c;
    c.label = word;
    c.state = ControllerState::lost;
    all.controllers.push_back(c);
    RollcallEntry entry;
    entry.label = word;
    entry.detail = word + " " + word;
    entry.state = EntryState::missing;
    all.rollcall->entries.push_back(entry);
    Fault fault;
    fault.code = fmt::format("meter.{}{}", word, i);
    fault.text = word;
    fault.start = kStart;
    all.faults.push_back(fault);
    Finding finding;
    finding.text = word;
    finding.incident = i;
    finding.start = kStart;
    finding.next_steps = {word, word};
    all.findings.push_back(finding);
    RecordedNote note;
    note.note.kind = RecorderNote::Kind::mark;
    note.note.text = word;
    note.time = kStart;
    all.recorder.notes.push_back(note);
    Dropout dropout;
    dropout.start.time = kStart;
    dropout.judged_until = all.end;
    all.dropouts.push_back(dropout);
    BusSilence silence;
    silence.start.time = kStart;
    silence.judged_until = all.end;
    all.silences.push_back(silence);
  }
  return report;
}

/// One frame on one bus, and nothing else.
Report quiet_hour() {
  Report report;
  report.found.start = kStart;
  report.found.end = kStart + kHour;
  report.found.frames = 1;
  report.found.buses.resize(1);
  return report;
}

}  // namespace

TEST_CASE("a summary is short, narrow and plain whatever it has to tell") {
  const Format* format = find_format("summary");
  REQUIRE(format != nullptr);
  std::string words;
  for (int i = 0; i < 80; ++i) words += "word ";
  for (const std::string& word : {std::string("x"), std::string(500, 'y'), words,
                                  std::string("\xC3\xA9\xE2\x82\xAC\xFF\n\t\x1B[31m") + words})
    for (const std::size_t count : {0u, 1u, 3u, 4u, 40u, 300u}) {
      Report report = monstrous(count, word);
      FormatOptions options;
      options.unicode = options.place = true;
      for (const auto render : {format->report, format->rollcall, format->seeding}) {
        const std::string text = render(report, options);
        const auto lines = lines_of(text);
        INFO(count << " of " << word << "\n" << text);
        CHECK(lines.size() < 60);
        CHECK(std::all_of(lines.begin(), lines.end(),
                          [](const std::string& line) { return line.size() <= 78; }));
        CHECK(std::all_of(text.begin(), text.end(),
                          [](char c) { return c == '\n' || (c >= 0x20 && c < 0x7F); }));
      }
    }
}

TEST_CASE("the place is told only if the user allows it, hours always") {
  const Format* format = find_format("summary");
  Report report = monstrous(1, "x");
  report.found.machine.hours_first = 1234.5;
  report.found.machine.hours_last = 1236.25;
  const std::string closed = format->report(report, {});
  CHECK(closed.find("Engine hours 1234.50 to 1236.25\n") != std::string::npos);
  CHECK(closed.find("52.5") == std::string::npos);
  FormatOptions options;
  options.place = true;
  CHECK(format->report(report, options).find("\nPlace 52.50000 S, 9.25000 W (") != std::string::npos);
  report.found.machine.hours_last.reset();
  CHECK(format->report(report, options).find("\nPlace 52.5") != std::string::npos);
}

TEST_CASE("notes of the technician: the first ones, and how many more") {
  const Format* format = find_format("summary");
  const auto text_of = [&](std::size_t count) { return format->report(monstrous(count, "hose"), {}); };
  CHECK(text_of(3).find(".. and ") == std::string::npos);
  const std::string five = text_of(5);
  CHECK(five.find("  05:52:00  hose\n  05:52:00  hose\n  .. and 3 more in the full report.\n") !=
        std::string::npos);
}

TEST_CASE("every fault that can be told has a first step") {
  std::ifstream file(TRAMLOG_SOURCE_DIR "/captures/shows.toml");
  std::size_t codes = 0;
  bool faults = false;
  for (std::string line; std::getline(file, line);) {
    if (line.starts_with("[")) faults = line == "[fault]";
    if (!faults || !line.starts_with("\"")) continue;
    const std::string code = line.substr(1, line.find('"', 1) - 1);
    INFO(code);
    REQUIRE(first_step(code) != nullptr);
    CHECK(std::string(first_step(code)).size() < 140);  // two lines of the summary
    ++codes;
  }
  CHECK(codes > 80);
  CHECK(first_step("nobody.knows") == nullptr);
  CHECK(first_step("") == nullptr);
}

TEST_CASE("a capture made from a damaged one says so in its answer") {
  Report report = quiet_hour();
  Conclusions& all = report.found;
  const std::string whole = find_format("summary")->report(report, {});
  CHECK(whole.find("DAMAGED") == std::string::npos);
  RecordedNote lost;
  lost.note.kind = RecorderNote::Kind::lost;
  lost.note.number = 300;
  lost.time = kStart + 20 * kMinute;
  all.recorder.notes.push_back(lost);
  lost.note.number = 41;
  lost.time = kStart + 10 * kMinute;
  all.recorder.notes.push_back(lost);
  for (const char* format : {"summary", "text"}) {
    const std::string told = find_format(format)->report(report, {});
    INFO(told);
    CHECK(told.find("MADE FROM A DAMAGED RECORDING 341 bytes in 2 places are lost, the last") !=
          std::string::npos);
    CHECK(told.find("06:12:00.000") != std::string::npos);
  }
  const std::string page = find_format("html")->report(report, {});
  CHECK(page.find("made from a damaged recording</span>") != std::string::npos);
}

TEST_CASE("however much there is to tell, the summary says that not all could be read, and where it breaks off") {
  Report report = quiet_hour();
  Conclusions& all = report.found;
  CHECK(find_format("text")->report(report, {}).find("Nothing wrong was found on the bus.") != std::string::npos);
  for (BusSilence& silence : std::vector<BusSilence>(8)) {
    silence.start.time = kStart + kMinute;
    silence.verdict = BusSilence::Verdict::silent;
    all.silences.push_back(silence);
  }
  for (std::size_t i = 0; i < 8; ++i) {
    Dropout voice;
    voice.kind = DropoutKind::controller;
    voice.address = static_cast<Address>(i);
    voice.start.time = kStart + kMinute;
    all.dropouts.push_back(voice);
    all.controllers.emplace_back();
    all.controllers.back().state = ControllerState::lost;
  }
  all.buses[0].blind.push_back({kStart, kStart + kSecond, 3, "dropped"});
  SECTION("read from a damaged capture") {
    all.damage.push_back({0, 100, 48, "block lengths differ", kStart + 3 * kMinute, Damage::Kind::unreadable});
    all.damage.push_back({0, 900, 19, "file ends", kStart + 20 * kMinute, Damage::Kind::breaks_off});
    all.damaged_bytes = 67;
    CHECK(find_format("summary")->report(report, {}).find("CAPTURE DAMAGED 67 bytes") != std::string::npos);
  }
  SECTION("read from one that was mended") {
    RecordedNote lost;
    lost.note.kind = RecorderNote::Kind::lost;
    lost.note.number = 19;
    lost.note.boot = static_cast<std::uint64_t>(Damage::Kind::breaks_off);
    lost.time = kStart + 20 * kMinute;
    all.recorder.notes.push_back(lost);
    CHECK(find_format("summary")->report(report, {}).find("MADE FROM A DAMAGED RECORDING 19 bytes") !=
          std::string::npos);
  }
  const std::string text = find_format("summary")->report(report, {});
  INFO(text);
  CHECK(text.find(".. more in the full report") != std::string::npos);
  CHECK(text.find("breaks off") != std::string::npos);
  CHECK(text.find("06:12:00.000") != std::string::npos);
  all.silences.clear();
  all.dropouts.clear();
  all.controllers.clear();
  const std::string calm = find_format("text")->report(report, {});
  CHECK(calm.find("Nothing wrong was found on the bus.") == std::string::npos);
  CHECK(calm.find("Nothing wrong was found in what could be read.") != std::string::npos);
}

TEST_CASE("what the recorder did not hear counts once, and not what a slice left out") {
  Report report = quiet_hour();
  Conclusions& all = report.found;
  all.buses[0].name = "can0";
  BlindSpan omitted{kStart + 10 * kMinute, kStart + 20 * kMinute, std::nullopt, "left out", Deafness::left_out};
  BlindSpan moment{kStart + 30 * kMinute, kStart + 30 * kMinute, 1, "lost", Deafness::frames_lost};
  all.buses[0].blind = {omitted, moment};
  CHECK(find_format("summary")->report(report, {}).find("DID NOT HEAR") == std::string::npos);
  all.buses[0].blind.push_back({kStart + 40 * kMinute, kStart + 42 * kMinute, 1, "overrun", Deafness::frames_lost});
  all.buses[0].blind.push_back({kStart + 41 * kMinute, kStart + 43 * kMinute, 1, "overrun", Deafness::frames_lost});
  CHECK(find_format("summary")
            ->report(report, {})
            .find("can0: 3 min 00 s in 1 span, first from 06:32:00: overrun.") != std::string::npos);
}

TEST_CASE("a sentence that has no room ends where a clause does") {
  CHECK(clipped_clauses("short, and whole", 40, 1) == "short, and whole");
  //                     0         1         2         3
  CHECK(clipped_clauses("The metering unit went away, at noon (frame 12)", 40, 1) ==
        "The metering unit went away ..");
  CHECK(clipped_clauses("One came; another one, too, and a third one of them", 30, 1) ==
        "One came; another one ..");
  CHECK(clipped_clauses("One two three four five. Six seven eight nine ten", 36, 1) ==
        "One two three four five. ..");
  // No clause: between words, but not within parentheses.
  CHECK(clipped_clauses("INTERMITTENT product flow (address 129, 0x81)", 40, 1) ==
        "INTERMITTENT product flow ..");
  const std::string strange = clipped_clauses(std::string(100, 'y'), 40, 2);
  CHECK(strange.size() <= 80);
  CHECK(strange.ends_with("y .."));
}
