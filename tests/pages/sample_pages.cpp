// Writes pages that no stored capture gives: a ten-hour day with 30 controllers and 500 dropouts, hostile
// texts, several days, an instant, nothing at all. usage: sample_pages FOLDER
#include <fmt/format.h>

#include <cmath>
#include <fstream>
#include <iostream>

#include "report/format.hpp"
#include "report/html/html_page.hpp"

using namespace tramlog;

namespace {

constexpr TimeNs kStart = 1'775'542'320 * kSecond;  // 2026-04-07 06:12:00 UTC

// A repeatable stream of numbers from 0 to below 1.
class Dice {
 public:
  double roll() {
    state_ = state_ * 6364136223846793005ULL + 1442695040888963407ULL;
    return static_cast<double>(state_ >> 11) / 9007199254740992.0;
  }

 private:
  std::uint64_t state_ = 42;
};

Mark mark_at(TimeNs time) {
  return {time, static_cast<std::uint64_t>((time - kStart) / (kSecond / 250)) + 1};
}

Report day(unsigned controllers, unsigned dropouts, SpanNs length, std::size_t steps) {
  Dice dice;
  Report report;
  report.files = {"0123456789abcdef", "fedcba9876543210"};
  report.names = {"run-000123-0007-20260407T061200Z.pcapng.zst", "monday afternoon, second try.pcapng"};
  Conclusions& all = report.found;
  all.start = kStart;
  all.end = kStart + length;
  all.frames = 18'000'000;
  for (const char* name : {"can0", "implement"}) {
    BusSummary bus;
    bus.name = name;
    bus.frames = 9'000'000;
    bus.bitrate = 250'000;
    bus.bitrate_told = true;
    bus.load_mean_pct = 38.2;
    bus.load_peak_pct = 71.9;
    bus.has_statistics = true;
    bus.blind.push_back(
        {kStart + length / 3, kStart + length / 3 + length / 50, 1234, "the kernel dropped frames"});
    all.buses.push_back(bus);
  }
  Rollcall roll;
  roll.machine = "Larkfield 9 m air drill";
  for (unsigned i = 0; i < controllers; ++i) {
    ControllerRecord c;
    c.name = Name(1ULL << 63 | 2ULL << 60 | 4ULL << 49 | 128ULL << 40 | 1000ULL << 21 | i);
    c.bus = static_cast<BusIndex>(i % 2);
    c.address = static_cast<Address>(128 + i);
    c.label = fmt::format("metering unit {} of the rear boom", i + 1);
    c.first_seen = mark_at(kStart + (i + 1) * 20 * kMillisecond);
    c.last_seen = mark_at(kStart + length);
    c.claims = 1 + i % 3;
    c.frames = 600'000;
    c.software = {"MTR 4.1." + std::to_string(i), "boot 2.0"};
    c.rhythms = 2;
    c.slowest_period = kSecond;
    c.state = i % 3 == 0 ? ControllerState::intermittent : ControllerState::present;
    all.controllers.push_back(c);
    RollcallEntry entry;
    entry.label = c.label;
    entry.controller = i;
    entry.state = i % 3 == 0   ? EntryState::intermittent
                  : i % 7 == 1 ? EntryState::wrong_software
                               : EntryState::present;
    if (entry.state != EntryState::present)
      entry.detail = "17 dropouts, first 06:40:12.300 (frame 20113) for 3.20 s";
    roll.entries.push_back(entry);
  }
  roll.entries.push_back({"blower",
                          EntryState::missing,
                          std::nullopt,
                          false,
                          "never heard",
                          true,
                          std::nullopt,
                          false,
                          "",
                          "",
                          {},
                          {}});
  all.rollcall = roll;
  for (unsigned i = 0; i < dropouts; ++i) {
    Dropout d;
    d.controller = i % controllers / 3 * 3;
    d.address = all.controllers[*d.controller].address;
    d.bus = all.controllers[*d.controller].bus;
    const TimeNs start =
        kStart + static_cast<SpanNs>((0.01 + 0.95 * i / dropouts) * static_cast<double>(length));
    d.start = mark_at(start);
    const SpanNs away = i % 40 == 7 ? length / 60 : static_cast<SpanNs>((1 + 5 * dice.roll()) * 1e9);
    d.judged_until = std::min(start + away, all.end);
    d.end = mark_at(d.judged_until);
    d.reclaimed = i % 4 == 0;
    d.messages_missed = 40 + i;
    if (i % 5 == 0) d.group = i / 5 + 1;
    if (i % 50 == 49) d.kind = DropoutKind::bus_silent;
    all.dropouts.push_back(d);
  }
  for (unsigned i = 0; i < dropouts / 2 + 4; ++i) {
    Fault f;
    f.code = i % 2 == 0 ? "controller.message-stopped" : "diagnostics.trouble-code";
    f.severity = i % 5 == 0 ? Severity::fault : i % 5 == 4 ? Severity::note : Severity::warning;
    f.start = kStart + static_cast<SpanNs>(0.9 * i / (dropouts / 2 + 4) * static_cast<double>(length));
    f.controllers = {i % controllers};
    f.text =
        fmt::format("metering unit {} stopped sending PGN 65096 (0xFE48) while it went on with the rest.",
                    i % controllers + 1);
    for (int e = 0; e < 3; ++e)
      f.evidence.push_back({mark_at(f.start + e * kSecond), "the last one, after 812 every 100 ms"});
    all.faults.push_back(f);
  }
  for (unsigned i = 0; i < 9 && dropouts > 0; ++i) {
    Finding f;
    f.cause = "wiring.connector";
    f.confidence = static_cast<Confidence>(i % 3);
    f.incident = i / 2;
    f.text = fmt::format("A plug of metering unit {} opened again and again, {} times from 06:40 on.", i + 1,
                         dropouts / 9);
    f.why = {"It was away 17 times, each time for 1.2 to 5.9 s.",
             "It came back with a new address claim 12 times: it lost its supply."};
    f.against = {"No error frames while it was away."};
    if (i % 2 == 1) f.tell_apart = "Measure the supply at the unit while somebody moves the cable.";
    f.next_steps = {"Plug X14: pull, look for bent or dark contacts, push until it clicks.",
                    "Cable between frame and boom: rubbed through?"};
    for (unsigned k = i; k < dropouts; k += 9) f.dropouts.push_back(k);
    f.faults = {i % all.faults.size()};
    all.findings.push_back(f);
  }
  for (int i = 0; i < 12; ++i) {
    StoryLine line;
    line.time = kStart + i * (length / 12);
    line.text = "metering unit 1 and 9 others fall silent together";
    if (i % 3 == 1 && !all.findings.empty()) line.finding = 0;
    all.story.push_back(line);
  }
  for (unsigned i = 0; i < 6; ++i) {
    DtcRecord d;
    d.controller = i % controllers;
    d.address = all.controllers[*d.controller].address;
    d.dtc.spn = 520'200 + i;
    d.dtc.fmi = 4;
    d.fmi_text = "voltage below normal, or shorted to low source";
    d.first_active = mark_at(kStart + i * kMinute);
    d.last_active = mark_at(kStart + length / 2);
    d.activations = i + 1;
    all.dtcs.push_back(d);
  }
  for (int i = 0; i < 5; ++i) {
    RecordedNote noted;
    noted.time = kStart + (i + 1) * (length / 7);
    noted.note.kind = RecorderNote::Kind::mark;
    noted.note.text = i == 2 ? "seed hose refitted; row 12 had been blocked by a stone the size of a fist"
                             : "headland turn";
    all.recorder.notes.push_back(noted);
  }
  all.machine.hours_first = 1204.35;
  all.machine.hours_last = 1214.4;
  all.machine.place = MachineRecord::Place{52.123456, -4.123456};

  DaySeries& s = all.series;
  s.start = kStart;
  s.steps = steps;
  s.step = steps == 0 ? 0 : length / static_cast<SpanNs>(steps);
  const auto curve = [&](double middle, double swing) {
    std::vector<float> values;
    for (std::size_t k = 0; k < steps; ++k)
      values.push_back(k % 97 > 92
                           ? NAN
                           : static_cast<float>(middle + swing * std::sin(static_cast<double>(k) / 9) +
                                                swing * (dice.roll() - 0.5)));
    return values;
  };
  if (steps > 0) {
    for (BusIndex bus : {BusIndex{0}, BusIndex{1}}) s.loads.push_back({bus, curve(35, 8), curve(60, 10)});
    s.voltages.push_back({std::size_t{0}, 128, 0, curve(12.4, 0.6), curve(13.8, 0.3)});
    s.voltages.push_back({std::nullopt, 77, 1, curve(12.0, 0.4), curve(13.0, 0.2)});
    s.rates.push_back({0, 0, "Wheat, element 3", "mass per area", "kg/ha", curve(180, 1), curve(176, 20)});
    s.rates.push_back({0, 1, "Fertiliser, element 4", "mass per area", "kg/ha", curve(90, 1), curve(92, 12)});
    for (unsigned k = 1; k <= 24; ++k) {
      std::vector<float> told, on;
      for (std::size_t i = 0; i < steps; ++i) {
        told.push_back((i + k) % 30 < 24 ? 1.0F : (i + k) % 30 == 24 ? 0.5F : 0.0F);
        on.push_back((i + k + 29) % 30 < 24 ? 1.0F : 0.0F);
      }
      s.sections.push_back({0, k, "section " + std::to_string(k), told, on});
    }
  }
  return report;
}

// Text that tries to break out, in every field that comes from the bus or a file.
Report hostile() {
  const std::string bad =
      "\"'><script>alert(1)</script><img src=x onerror=alert(2)>&lt;\x01\xFF\xE2\x80\xAE" +
      std::string(300, 'W') + "--></title></style>";
  Report report = day(3, 4, kHour, 60);
  report.names = {bad, bad};
  Conclusions& all = report.found;
  all.rollcall->machine = bad;
  for (BusSummary& bus : all.buses) {
    bus.name = bad;
    bus.blind[0].reason = bad;
  }
  for (ControllerRecord& c : all.controllers) {
    c.label = bad;
    c.software = {bad, bad};
    c.ecu = EcuIdentification{};
    c.ecu->part_number = c.ecu->serial_number = c.ecu->location = c.ecu->type = bad;
  }
  for (RollcallEntry& entry : all.rollcall->entries) entry.label = entry.detail = bad;
  for (Fault& fault : all.faults) {
    fault.text = bad;
    for (Evidence& evidence : fault.evidence) evidence.text = bad;
  }
  for (Finding& finding : all.findings) {
    finding.text = finding.tell_apart = bad;
    finding.why = finding.against = finding.next_steps = {bad};
  }
  for (StoryLine& line : all.story) line.text = bad;
  for (DtcRecord& dtc : all.dtcs) dtc.spn_text = dtc.fmi_text = bad;
  for (RecordedNote& noted : all.recorder.notes) noted.note.text = bad;
  for (RateSeries& rate : all.series.rates) rate.subject = rate.quantity = rate.unit = bad;
  for (SectionSeries& section : all.series.sections) section.subject = bad;
  all.damage.push_back({0, 12, 34, bad});
  ImplementRecord implement;
  implement.source_words = bad;
  CheckLine line;
  line.code = line.topic = line.subject = line.text = bad;
  line.verdict = Verdict::attention;
  line.moments.push_back({mark_at(kStart), bad});
  implement.lines = {line};
  all.seeding.implements = {implement};
  all.seeding.lines = {line};
  return report;
}

}  // namespace

int main(int argc, char** argv) {
  if (argc != 2) {
    std::cerr << "usage: sample_pages FOLDER\n";
    return 2;
  }
  const Format* html = find_format("html");
  if (html == nullptr) return 1;
  FormatOptions options;
  options.place = true;
  const std::string folder = std::string(argv[1]) + '/';
  const auto write = [&](const std::string& name, const std::string& page) {
    std::ofstream out(folder + name + ".html", std::ios::binary);
    out << page;
    return static_cast<bool>(out);
  };
  Report instant = day(2, 0, 0, 0);
  Report nothing;
  bool good = write("sample-long-day", html->report(day(30, 500, 10 * kHour, 480), options));
  good = write("sample-days", html->report(day(6, 30, 75 * kHour, 300), options)) && good;
  good = write("sample-hostile", html->report(hostile(), options)) && good;
  good = write("sample-hostile-seeding", html->seeding(hostile(), options)) && good;
  good = write("sample-hostile-rollcall", html->rollcall(hostile(), options)) && good;
  good = write("sample-instant", html->report(instant, options)) && good;
  good = write("sample-nothing", html->report(nothing, options)) && good;
  return good ? 0 : 1;
}
