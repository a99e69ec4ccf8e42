#include "tool/ask_command.hpp"

#include <fmt/format.h>
#include <unistd.h>

#include <chrono>
#include <random>
#include <thread>

#include "base/text.hpp"
#include "control/words.hpp"
#include "exam/words.hpp"
#include "io/text_file.hpp"
#include "isobus/diagnostics.hpp"
#include "report/page.hpp"
#include "tool/interruption.hpp"
#include "wire/ask.hpp"
#include "wire/motion.hpp"

namespace tramlog {
namespace {

using nlohmann::json;
using Json = nlohmann::ordered_json;

constexpr const char* kCaution =
    "This transmits: it claims an address as a service tool and asks every controller for name, software and active faults.\n"
    "Machine at a standstill, fans and meters off, nobody near moving parts, raised parts secured. Local rules and the\n"
    "machine's manual come first. Ctrl-C ends it in good order.\n";

/// A number that stays with this machine, for the NAME: two tools on one bus need different ones.
unsigned own_identity() {
  std::uint64_t sum = 1469598103934665603u;
  if (const auto id = read_text_file("/etc/machine-id", 200))
    for (const char c : id.value()) sum = (sum ^ static_cast<unsigned char>(c)) * 1099511628211u;
  return static_cast<unsigned>(sum % 0x1FFFFF) + 1;  // 21 bits, not 0
}

/// Why nothing may be sent, as the recorder knows it; it has listened for longer than we have.
Result<std::vector<std::string>> recorder_reasons(const LiveOptions& live, const std::string& bus, bool& knows_speed) {
  auto answer = control::ask(live.socket, {{"do", "standstill"}, {"bus", bus}}, 10);
  if (!answer) return answer.error();
  knows_speed = control::flag_of(answer->head, "knows_speed");
  std::vector<std::string> reasons;
  if (const auto list = answer->head.find("reasons"); list != answer->head.end() && list->is_array())
    for (const json& reason : *list)
      if (reason.is_string()) reasons.push_back(reason.get<std::string>());
  return reasons;
}

/// The bus to ask on: the one that is named, else the only one.
Result<std::string> bus_of(const AskChoice& choice, const LiveOptions& live) {
  if (!choice.bus.empty()) return choice.bus;
  auto answer = control::ask(live.socket, {{"do", "status"}, {"format", "json"}}, 10);
  if (!answer) return answer.error();
  const json status = json::parse(answer->body, nullptr, false);
  std::vector<std::string> buses;
  if (status.is_object() && status.contains("buses"))
    for (const json& bus : status["buses"])
      if (bus.is_object() && bus.value("can_hear", json()) == true)
        buses.push_back(control::text_of(bus, "bus"));
  if (buses.size() == 1) return buses.front();
  std::string names;
  for (const std::string& bus : buses) names += (names.empty() ? "" : ", ") + bus;
  return Error{ErrorKind::usage, buses.empty() ? "the recorder hears no bus" : "several buses: which one is to be asked on?",
               "--bus", buses.empty() ? "see tramlog status" : "choose one of: " + names};
}

std::string answer_words(const Answer& answer) {
  if (answer.state != AnswerState::answered) return answer_state_text(answer.state);
  std::string words;
  const auto add = [&](const std::string& text) {
    if (!text.empty()) words += (words.empty() ? "" : ", ") + printable_utf8(text);
  };
  if (answer.pgn == kPgnSoftwareIdentification) {
    for (const std::string& text : parse_software_identification(answer.data).texts) add(text);
  } else if (answer.pgn == kPgnEcuIdentification) {
    const EcuIdentification ecu = parse_ecu_identification(answer.data);
    for (const std::string* text : {&ecu.part_number, &ecu.serial_number, &ecu.location, &ecu.type, &ecu.manufacturer, &ecu.hardware_version}) add(*text);
  } else if (answer.pgn == kPgnProductIdentification) {
    const ProductIdentification product = parse_product_identification(answer.data);
    for (const std::string* text : {&product.code, &product.brand, &product.model}) add(*text);
  } else {
    return fmt::format("answered, {} bytes", answer.data.size());
  }
  return words.empty() ? "answered, but empty" : words;
}

const char* pgn_title(Pgn pgn) {
  switch (pgn) {
    case kPgnSoftwareIdentification:
      return "software";
    case kPgnEcuIdentification:
      return "ECU";
    case kPgnProductIdentification:
      return "product";
    default:
      return "active faults";
  }
}

std::string asked_text(const AskResult& result, const std::string& bus) {
  Page page(false);
  page.heading("ASKED ON " + bus);
  page.item("  ", fmt::format("{} answered for themselves; {} sent from address {}, which was given back.{}",
                              counted(result.controllers.size(), "controller", "controllers"), counted(result.requests, "request", "requests"),
                              address_words(result.own_address), result.complete ? "" : " STOPPED: " + result.stopped));
  for (const AskedController& controller : result.controllers) {
    page.line();
    page.item("  ", fmt::format("{}{}", controller.address == kNullAddress ? "without address" : "address " + address_words(controller.address),
                                controller.name ? fmt::format(", NAME {}, {}", controller.name->hex(), function_term(*controller.name))
                                                : ", never claimed"));
    for (const Answer& answer : controller.answers) page.item(fmt::format("    {:<14} ", pgn_title(answer.pgn)), answer_words(answer));
  }
  return page.take();
}

std::string asked_json(const AskResult& result, const std::string& bus) {
  Json controllers = Json::array();
  for (const AskedController& controller : result.controllers) {
    Json answers = Json::array();
    for (const Answer& answer : controller.answers)
      answers.push_back({{"pgn", answer.pgn},
                         {"state", answer_state_text(answer.state)},
                         {"tries", answer.tries},
                         {"text", answer_words(answer)},
                         {"response_s", answer.response_time ? Json(to_seconds(*answer.response_time)) : Json(nullptr)}});
    controllers.push_back({{"address", controller.address},
                           {"name", controller.name ? Json(controller.name->hex()) : Json(nullptr)},
                           {"answers", std::move(answers)}});
  }
  const Json all = {{"schema", "tramlog.asked/1"}, {"bus", bus},
                    {"own_address", result.own_address}, {"own_name", result.own_name.hex()},
                    {"requests", result.requests}, {"complete", result.complete},
                    {"stopped", result.stopped.empty() ? Json(nullptr) : Json(result.stopped)}, {"controllers", std::move(controllers)}};
  return all.dump(2, ' ', false, json::error_handler_t::replace) + "\n";
}

void show_progress(const AskProgress& progress) {
  if (::isatty(STDERR_FILENO) != 1) return;
  const char* steps[] = {"listening", "claiming an address", "asking who is there", "asking", "giving the address back"};
  fmt::print(stderr, "\r{:<24} {} controllers, {} requests ", steps[static_cast<std::size_t>(progress.step)], progress.controllers, progress.requests);
  std::fflush(stderr);
}

Error refused(const std::string& reason, const std::string& bus) {
  return {ErrorKind::environment, "refused, nothing was sent: " + reason, bus, "stop the machine and what works on it, then ask again"};
}

}  // namespace

void add_ask(CLI::App& command, AskChoice& choice) {
  command.add_flag("--ask", choice.ask,
                   "With --live: claim an address as a service tool, ask everybody for claims, software, identification and active faults. This "
                   "transmits; refused while anything moves or works");
  command.add_option("--bus", choice.bus, "With --ask: the bus to ask on, if there are several");
  command.add_option("--manufacturer-code", choice.manufacturer_code, "With --ask: of the own NAME, if you have one of your own (11 bits)")->check(CLI::Range(0, 2047));
  command.add_option("--identity-number", choice.identity_number, "With --ask: of the own NAME (21 bits; default: from this machine)")->check(CLI::Range(0, 0x1FFFFF));
}

int ask_and_call(const AskChoice& choice, const LiveOptions& live, const CommonOptions& options) {
  const auto bus = bus_of(choice, live);
  if (!bus) return fail(bus.error());
  const std::string& name = bus.value();
  bool knows_speed = false;
  const auto reasons = recorder_reasons(live, name, knows_speed);
  if (!reasons) return fail(reasons.error());
  if (!reasons.value().empty()) return fail(refused(reasons.value().front(), name));
  fmt::print(stderr, "{}", kCaution);
  if (!knows_speed)
    fmt::print(stderr, "Nobody tells a speed on this bus: see for yourself that the machine stands.\n");

  MotionGuard guard(running_time());
  std::random_device dice;
  ServiceToolOptions tool_options;
  tool_options.interface = name;
  tool_options.manufacturer_code = choice.manufacturer_code;
  tool_options.identity_number = choice.identity_number != 0 ? choice.identity_number : own_identity();
  tool_options.random_byte = [&dice] { return static_cast<std::uint8_t>(dice()); };
  tool_options.on_event = [&guard](const Event& event) { guard.take(event); };
  tool_options.stop = &interruption();
  auto tool = ServiceTool::open(std::move(tool_options));
  if (!tool) return fail(tool.error());
  // Our own ears and those of the recorder, before each frame that is sent.
  const auto may_go_on = [&]() -> std::optional<std::string> {
    if (const auto own = guard.reasons_not_to_transmit(running_time()); !own.empty()) return own.front();
    bool ignored = false;
    const auto theirs = recorder_reasons(live, name, ignored);
    if (!theirs) return "the recorder does not answer: " + theirs.error().what;
    if (!theirs.value().empty()) return theirs.value().front();
    return std::nullopt;
  };
  const auto result = ask_everybody(*tool, {}, may_go_on, show_progress);
  if (::isatty(STDERR_FILENO) == 1) fmt::print(stderr, "\r{:60}\r", "");
  if (!result) {
    Error error = result.error();
    return fail(error);
  }
  tool->give_back();
  // What was answered is in the recording by now; the recorder examines it within a moment.
  std::this_thread::sleep_for(std::chrono::milliseconds(1500));

  auto request = live_request(options, true);
  if (!request) return fail(request.error());
  auto answer = control::ask(live.socket, *request);
  const bool no_roster = !answer && answer.error().kind == ErrorKind::usage && options.roster.empty();
  if (!answer && !no_roster) return fail(answer.error());
  const std::string asked = options.format == "json" ? asked_json(result.value(), name) : asked_text(result.value(), name);
  std::string text = no_roster ? asked : answer->body;
  if (!no_roster && options.format == "text") text += asked;
  if (!result.value().complete)
    fail({ErrorKind::environment, "not everybody was asked: " + result.value().stopped, name, "see what stopped it, then ask again"});
  return deliver(options, text, !result.value().complete ? kEnvironment : no_roster ? kFine : static_cast<int>(control::number_of(answer->head, "exit")));
}

}  // namespace tramlog
