// How long a large DBC file takes to load, against only walking through its tokens. Exits 1 beyond the bar: 3
// times the tokens, or half a second. Messages are made ready to be read when they are asked for first; what
// that takes for all of them is shown beside.
//
//   bench_schema [ROUNDS]      default 15
#include <fmt/format.h>

#include <algorithm>
#include <cstdint>
#include <cstdio>
#include <cstdlib>
#include <ctime>
#include <iterator>
#include <string>
#include <vector>

#include "schema/dbc_file.hpp"
#include "schema/schema.hpp"

namespace {

constexpr int kMessages = 2'000;
constexpr int kSignalsPerMessage = 10;
constexpr double kMostTimesTokens = 3.0;
constexpr double kMostSeconds = 0.5;
constexpr const char* kParts[] = {"Metering", "Hopper", "Blower", "Boom", "Hitch", "Wheel", "Valve", "Tank"};
constexpr const char* kValues[] = {"Speed",  "Pressure", "Position",    "Level",
                                   "Torque", "Flow",     "Temperature", "State"};

std::uint32_t written_id(int message) {
  return 0x98F00000u + static_cast<std::uint32_t>(message) * 0x100u + 0xFEu;
}

std::string signal_name(int message, int signal) {
  return fmt::format("{}{}{:02}_{}", kParts[message % 8], kValues[signal % 8], signal, message % 97);
}

// Twelve bytes a message: eight fields of a byte, two of two; comments, attributes and a table for every
// signal.
std::string make_file() {
  std::string text =
      "VERSION \"1.4\"\n\nNS_ :\n\tNS_DESC_\n\tCM_\n\tBA_DEF_\n\tBA_\n\tVAL_\n\nBS_:\n\nBU_: Tractor "
      "Implement\n\n";
  auto out = std::back_inserter(text);
  for (int m = 0; m < kMessages; ++m) {
    fmt::format_to(out, "BO_ {} {}Status{}: 12 Tractor\n", written_id(m), kParts[m % 8], m);
    for (int s = 0; s < kSignalsPerMessage; ++s) {
      const bool wide = s >= 8;
      fmt::format_to(out, " SG_ {} : {}|{}@1+ ({},{}) [{}|{}] \"{}\" Implement\n", signal_name(m, s),
                     wide ? 64 + (s - 8) * 16 : s * 8, wide ? 16 : 8, wide ? "0.125" : "0.4",
                     wide ? "-100" : "0", wide ? "-100" : "0", wide ? "7931.875" : "100",
                     wide ? "km/h" : "%");
    }
    text += '\n';
  }
  for (int m = 0; m < kMessages; ++m) {
    fmt::format_to(out, "CM_ BO_ {} \"State of unit {}, sent by the implement as long as it works.\";\n",
                   written_id(m), m);
    for (int s = 0; s < kSignalsPerMessage; ++s)
      fmt::format_to(out, "CM_ SG_ {} {} \"As measured at place {}.\";\n", written_id(m), signal_name(m, s),
                     s);
  }
  text +=
      "BA_DEF_ BO_  \"GenMsgCycleTime\" INT 0 65535;\nBA_DEF_ SG_  \"SPN\" INT 0 524287;\n"
      "BA_DEF_ BO_  \"VFrameFormat\" ENUM  \"StandardCAN\",\"ExtendedCAN\",\"reserved\",\"J1939PG\";\n"
      "BA_DEF_DEF_  \"GenMsgCycleTime\" 0;\nBA_DEF_DEF_  \"SPN\" 0;\nBA_DEF_DEF_  \"VFrameFormat\" "
      "\"J1939PG\";\n";
  for (int m = 0; m < kMessages; ++m) {
    fmt::format_to(out, "BA_ \"GenMsgCycleTime\" BO_ {} {};\n", written_id(m), 100 + m % 10 * 100);
    fmt::format_to(out, "BA_ \"VFrameFormat\" BO_ {} 3;\n", written_id(m));
    for (int s = 0; s < kSignalsPerMessage; ++s)
      fmt::format_to(out, "BA_ \"SPN\" SG_ {} {} {};\n", written_id(m), signal_name(m, s), m * 16 + s);
  }
  for (int m = 0; m < kMessages; ++m)
    for (int s = 0; s < kSignalsPerMessage; ++s)
      fmt::format_to(out, "VAL_ {} {} 254 \"Error\" 255 \"Not available\" ;\n", written_id(m),
                     signal_name(m, s));
  return text;
}

// Processor time: what else runs on the machine does not count.
double seconds_since(std::clock_t begin) {
  return static_cast<double>(std::clock() - begin) / CLOCKS_PER_SEC;
}

double median(std::vector<double> values) {
  std::sort(values.begin(), values.end());
  return values[values.size() / 2];
}

}  // namespace

int main(int argc, char** argv) {
  const int rounds = std::max(1, argc > 1 ? std::atoi(argv[1]) : 15);
  const std::string text = make_file();
  std::vector<double> tokens, parsing, checking, loading, all_ready;
  std::uint64_t count = 0;
  std::size_t signals = 0;
  for (int round = 0; round < rounds; ++round) {
    auto begin = std::clock();
    count = tramlog::count_dbc_tokens(text);
    tokens.push_back(seconds_since(begin));

    begin = std::clock();
    tramlog::DbcFile file = tramlog::parse_dbc(text, "bench.dbc");
    parsing.push_back(seconds_since(begin));
    tramlog::check_dbc(file);
    checking.push_back(seconds_since(begin));
    const std::size_t problems = file.problems.size();
    tramlog::Schema schema;
    schema.add(std::move(file));
    loading.push_back(seconds_since(begin));
    signals = schema.layers().back().signals;
    if (problems != 0 || signals != std::size_t{kMessages} * kSignalsPerMessage) {
      std::fprintf(stderr, "bench_schema: %zu signals and %zu problems\n", signals, problems);
      return 1;
    }
  }
  // In rounds of their own: they leave the heap in disorder.
  for (int round = 0; round < rounds; ++round) {
    const auto begin = std::clock();
    tramlog::DbcFile file = tramlog::parse_dbc(text, "bench.dbc");
    tramlog::check_dbc(file);
    tramlog::Schema schema;
    schema.add(std::move(file));
    std::size_t ready = 0;
    for (const tramlog::MessageSpec* message : schema.messages()) ready += message->signals.size();
    all_ready.push_back(seconds_since(begin));
    if (ready != signals) return 1;
  }
  const double load = median(loading);
  const double ratio = load / median(tokens);
  std::printf("%.1f MB, %zu signals, %llu tokens; medians of %d rounds\n",
              static_cast<double>(text.size()) / 1e6, signals, static_cast<unsigned long long>(count),
              rounds);
  std::printf("tokens only   %7.2f ms\n", median(tokens) * 1e3);
  std::printf("parse         %7.2f ms\n", median(parsing) * 1e3);
  std::printf("parse + check %7.2f ms\n", median(checking) * 1e3);
  std::printf("whole load    %7.2f ms (bar: %.0f ms), %.2f x tokens only (bar: %.1f)\n", load * 1e3,
              kMostSeconds * 1e3, ratio, kMostTimesTokens);
  std::printf(".. all ready  %7.2f ms\n", median(all_ready) * 1e3);
  return ratio <= kMostTimesTokens && load < kMostSeconds ? 0 : 1;
}
