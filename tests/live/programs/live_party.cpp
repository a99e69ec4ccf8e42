// Plays controllers on a CAN interface (party.hpp): claim, a cyclic message, trouble codes every second,
// answers to requests for claims, software, ECU and product identification and trouble codes; can send long
// messages, fall silent, stop or leave. Prints a line for each long message it has sent; with --received also
// for each it got.
#include <poll.h>

#include <CLI/CLI.hpp>
#include <algorithm>
#include <cstdio>
#include <thread>

#include "live.hpp"
#include "party.hpp"

namespace {

struct LongMessage {
  unsigned to = 0xFF;
  std::uint32_t pgn = 0;
  std::size_t size = 0;
  std::uint64_t seed = 0;
};

/// "A/B/C": the numbers of such a text.
std::vector<std::uint64_t> numbers_of(const std::string& text) {
  std::vector<std::uint64_t> numbers;
  for (const std::string& part : CLI::detail::split(text, '/'))
    numbers.push_back(std::stoull(part, nullptr, 0));
  return numbers;
}

void send_long(const live::PartyPlan& plan, const std::vector<LongMessage>& messages) {
  for (const LongMessage& message : messages) {
    const std::vector<std::uint8_t> data = live::random_bytes(message.seed, message.size);
    const std::string problem =
        live::send_and_wait(plan, message.pgn, static_cast<std::uint8_t>(message.to), data);
    std::printf("transfer from=%u to=%u pgn=%u size=%zu result=%s hex=%s\n", plan.address, message.to,
                message.pgn, message.size, problem.empty() ? "done" : problem.c_str(),
                live::hex(data.data(), data.size()).c_str());
    std::fflush(stdout);
  }
}

}  // namespace

int main(int argc, char** argv) {
  live::PartyPlan plan;
  plan.software = "1.4.0*boot 2.1*";
  plan.ecu = "P-4711*S-0001*front*metering*Fields and Sons*H3*";
  plan.product = "M-12*Fieldwork*Seeder 12*";
  std::string name = "A00C80007D012345";
  unsigned address = 0x80;
  unsigned count = 1;
  double period_ms = 100;
  double seconds = 0;
  double silent_after = 0;
  double leave_after = 0;
  std::string received;
  std::vector<std::string> faults;
  std::vector<std::string> sends;
  bool no_faults_message = false;
  CLI::App app{"Plays controllers on a CAN interface", "live_party"};
  app.add_option("interface", plan.interface)->required();
  app.add_option("--name", name, "NAME in hex; each further party has the next identity number");
  app.add_option("--address", address)->check(CLI::Range(0, 253));
  app.add_option("--count", count, "So many parties, at consecutive addresses")->check(CLI::Range(1, 100));
  app.add_option("--software", plan.software, "Fields, each ended by '*'; empty: not supported");
  app.add_option("--ecu", plan.ecu);
  app.add_option("--product", plan.product);
  app.add_option("--fault", faults, "SPN/FMI/COUNT, again and again");
  app.add_flag("--no-fault-messages", no_faults_message, "Trouble codes only when asked for");
  app.add_option("--busy", plan.busy, "So many directed requests are answered with 'busy' first");
  app.add_option("--period-ms", period_ms, "Of the cyclic message; 0: none");
  app.add_option("--send", sends, "TO/PGN/SIZE/SEED: a long message, after the claim; again and again");
  app.add_option("--received", received, "Long messages that arrive go into this file");
  app.add_option("--seconds", seconds, "End without a word after this; without it at SIGTERM");
  app.add_option("--silent-after", silent_after, "Say nothing more from then on, but stay");
  app.add_option("--leave-after", leave_after, "Give the address back after this and end");
  CLI11_PARSE(app, argc, argv);
  live::catch_stop_signals();

  std::vector<LongMessage> messages;
  try {
    for (const std::string& fault : faults) {
      const auto numbers = numbers_of(fault);
      plan.faults.push_back({static_cast<std::uint32_t>(numbers.at(0)), static_cast<unsigned>(numbers.at(1)),
                             static_cast<unsigned>(numbers.at(2))});
    }
    for (const std::string& text : sends) {
      const auto numbers = numbers_of(text);
      messages.push_back({static_cast<unsigned>(numbers.at(0)), static_cast<std::uint32_t>(numbers.at(1)),
                          numbers.at(2), numbers.at(3)});
    }
    plan.name = std::stoull(name, nullptr, 16);
  } catch (const std::exception&) {
    std::fprintf(stderr, "live_party: a number is not understood\n");
    return 2;
  }
  plan.period_s = period_ms / 1000;
  std::FILE* received_file = received.empty() ? nullptr : std::fopen(received.c_str(), "w");

  std::vector<live::Party> parties;
  for (unsigned i = 0; i < count; ++i) {
    live::PartyPlan own = plan;
    own.name += i;
    own.address = static_cast<std::uint8_t>(address + i);
    parties.emplace_back(own, received_file);
    parties.back().claim();
  }
  const auto begin = live::Clock::now();
  std::uint64_t cycles = 0;
  std::uint64_t second = 0;
  std::thread sender;
  bool sending = false;
  bool leaving = false;
  std::vector<pollfd> ready;
  for (const live::Party& party : parties) ready.push_back({party.fd(), POLLIN, 0});
  while (!live::is_stopped() && !leaving) {
    poll(ready.data(), ready.size(), 5);
    const double passed = live::seconds_since(begin);
    if (seconds > 0 && passed >= seconds) break;
    leaving = leave_after > 0 && passed >= leave_after;
    const bool silent = silent_after > 0 && passed >= silent_after;
    for (live::Party& party : parties) party.listen(!silent);
    if (silent || passed < 0.3) continue;  // the claim takes 250 ms to hold
    if (!sending && !messages.empty()) {
      sending = true;
      sender = std::thread([own = parties.front().plan(), &messages] { send_long(own, messages); });
    }
    if (plan.period_s > 0 && passed - 0.3 >= static_cast<double>(cycles) * plan.period_s) {
      ++cycles;
      for (live::Party& party : parties) party.send_cyclic();
    }
    if (!no_faults_message && passed - 0.3 >= static_cast<double>(second)) {
      ++second;
      for (live::Party& party : parties) party.send_faults();
    }
  }
  if (leaving)
    for (live::Party& party : parties) party.leave();
  if (sender.joinable()) sender.join();
  for (const live::Party& party : parties)
    std::printf("party name=%016llX address=%u cycles=%llu\n",
                static_cast<unsigned long long>(party.plan().name), party.plan().address,
                static_cast<unsigned long long>(cycles));
  return 0;
}
