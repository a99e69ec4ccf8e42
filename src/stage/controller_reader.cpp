#include <fmt/format.h>

#include "stage/encode.hpp"
#include "stage/scenario_parts.hpp"

namespace tramlog::stage {
namespace {

constexpr std::int64_t kMaxPgn = 0x3FFFF;
constexpr std::size_t kMaxMessageBytes = 1785;
constexpr std::size_t kMaxFastPacketBytes = 223;
constexpr std::int64_t kMaxTransferBytes = 4 * 1024 * 1024;

std::vector<Pgn> read_pgns(TableReader& in, std::string_view key) {
  std::vector<Pgn> pgns;
  for (const std::int64_t pgn : in.integers(key, 0, kMaxPgn)) pgns.push_back(static_cast<Pgn>(pgn));
  return pgns;
}

MessageSpec read_message(const Node& node, Problems& problems) {
  TableReader in(node, problems);
  MessageSpec message;
  message.when = static_cast<MessageSpec::When>(
      in.choice("send", 0, {"cyclic", "on-change", "burst", "on-request", "heartbeat"}));
  const bool heartbeat = message.when == MessageSpec::When::heartbeat;
  message.pgn = heartbeat ? Pgn{0xF0E4} : static_cast<Pgn>(in.needed_integer("pgn", 0, kMaxPgn));
  message.to = in.text("to", "");
  message.priority = static_cast<unsigned>(in.integer("priority", heartbeat ? 3 : 6, 0, 7));
  if (message.when != MessageSpec::When::on_request) {
    message.period = heartbeat ? in.span("period", 100 * kMillisecond, kMillisecond, kHour)
                               : in.needed_span("period", kMillisecond, kHour);
  }
  message.jitter = in.span("jitter", 0, 0, message.period / 2);
  message.minimum_gap = in.span("minimum_gap", 50 * kMillisecond, 0, kHour);
  message.burst_count = static_cast<unsigned>(in.integer("burst_count", 10, 1, 1000));
  message.burst_spacing = in.span("burst_spacing", 5 * kMillisecond, 0, kMinute);
  if (in.has("phase"))
    message.phase = in.span("phase", 0, 0, kHour);
  else
    in.any("phase");
  message.from = in.span("from", 0, 0, kLongestScenario);
  if (in.has("until"))
    message.until = in.span("until", 0, 0, kLongestScenario);
  else
    in.any("until");
  message.fast_packet = in.flag("fast_packet", false);
  if (heartbeat) {
    message.payload.base = {251};
  } else {
    message.payload = read_payload(in, message.fast_packet ? kMaxFastPacketBytes : 8);
    if (message.fast_packet && message.payload.base.size() < 9) {
      in.complain("payload", "is too short for a fast packet", "give 9 to 223 bytes");
    }
  }
  return message;
}

RequestSpec read_request(const Node& node, Problems& problems) {
  TableReader in(node, problems);
  RequestSpec request;
  request.pgn = static_cast<Pgn>(in.needed_integer("pgn", 0, kMaxPgn));
  request.to = in.needed_text("to");
  request.each = request.to == "each";
  request.global = request.to == "everybody";
  if (request.each || request.global) request.to.clear();
  request.new_claims = in.flag("new_claims", false);
  request.after = in.span("after", kSecond, 0, kLongestScenario);
  request.spacing = in.span("spacing", 150 * kMillisecond, kMillisecond, kMinute);
  if (in.has("every"))
    request.every = in.span("every", kSecond, 10 * kMillisecond, kLongestScenario);
  else
    in.any("every");
  if (in.has("rate_ms"))
    request.rate_ms = static_cast<unsigned>(in.integer("rate_ms", 100, 10, 65535));
  else
    in.any("rate_ms");
  return request;
}

TransferSpec read_transfer(const Node& node, Problems& problems) {
  TableReader in(node, problems);
  TransferSpec transfer;
  transfer.carrier =
      static_cast<Carrier>(in.choice("carrier", 0, {"automatic", "bam", "rts-cts", "etp", "fast-packet"}));
  transfer.pgn = static_cast<Pgn>(in.needed_integer("pgn", 0, kMaxPgn));
  transfer.to = in.text("to", "");
  transfer.payload = in.bytes("payload", kMaxMessageBytes);
  transfer.size = static_cast<std::size_t>(
      in.integer("size", static_cast<std::int64_t>(transfer.payload.size()), 1, kMaxTransferBytes));
  transfer.at = in.needed_span("at", 0, kLongestScenario);
  if (in.has("every"))
    transfer.every = in.span("every", kSecond, 100 * kMillisecond, kLongestScenario);
  else
    in.any("every");
  transfer.packet_gap = in.span("packet_gap", 0, 0, 10 * kSecond);
  transfer.response = in.span("response", 8 * kMillisecond, 0, 10 * kSecond);
  transfer.window = static_cast<unsigned>(in.integer("window", 16, 1, 255));
  transfer.holds = static_cast<unsigned>(in.integer("holds", 0, 0, 100));
  transfer.failure = static_cast<Failure>(
      in.choice("failure", 0,
                {"none", "abort-by-sender", "abort-by-receiver", "sender-stops", "receiver-silent",
                 "interrupted", "missing-packet", "repaired-packet"}));
  transfer.after = static_cast<std::uint32_t>(in.integer("after", 2, 0, 1'000'000));
  transfer.abort_reason = static_cast<std::uint8_t>(in.integer("abort_reason", 250, 0, 255));
  transfer.abort_on_timeout = in.flag("abort_on_timeout", false);

  const bool global = transfer.to.empty();
  if (transfer.carrier == Carrier::automatic) {
    transfer.carrier = global                             ? Carrier::bam
                       : transfer.size > kMaxMessageBytes ? Carrier::etp
                                                          : Carrier::rts_cts;
  }
  const auto fits = [&](std::size_t low, std::size_t high) {
    if (transfer.size < low || transfer.size > high) {
      in.complain("size", fmt::format("{} bytes do not fit this carrier", transfer.size),
                  fmt::format("give {} to {}", low, high));
    }
  };
  switch (transfer.carrier) {
    case Carrier::etp:
      fits(1786, static_cast<std::size_t>(kMaxTransferBytes));
      break;
    case Carrier::fast_packet:
      fits(9, kMaxFastPacketBytes);
      break;
    default:
      fits(9, kMaxMessageBytes);
      break;
  }
  const bool broadcast = transfer.carrier == Carrier::bam || transfer.carrier == Carrier::fast_packet;
  if (!broadcast && global) in.complain("to", "is missing", "name the controller that shall receive it");
  if (transfer.carrier == Carrier::bam && !global) in.complain("to", "a BAM goes to everybody", "remove it");
  if (transfer.carrier == Carrier::fast_packet && transfer.failure == Failure::interrupted) {
    in.complain("failure", "a fast packet has a new sequence number each time", "use bam, rts-cts or etp");
  }
  const bool needs_receiver = transfer.failure == Failure::abort_by_receiver ||
                              transfer.failure == Failure::receiver_silent ||
                              transfer.failure == Failure::repaired_packet;
  if (needs_receiver && broadcast) in.complain("failure", "needs a receiver", "use carrier rts-cts or etp");
  return transfer;
}

std::vector<std::uint8_t> joined(const std::vector<std::string>& fields) {
  std::vector<std::uint8_t> bytes;
  for (const std::string& field : fields) {
    bytes.insert(bytes.end(), field.begin(), field.end());
    bytes.push_back('*');
  }
  return bytes;
}

void read_answers(TableReader& in, ControllerSpec& controller) {
  for (const auto& [key, pgn] :
       {std::pair{"ecu_identification", Pgn{0xFDC5}}, std::pair{"product_identification", Pgn{0xFC8D}},
        std::pair{"component_identification", Pgn{0xFEEB}}}) {
    const std::vector<std::string> fields = in.texts(key);
    if (!fields.empty()) controller.answers.push_back({pgn, joined(fields)});
  }
  const std::vector<const Node*> functionalities = in.tables("functionalities");
  if (!functionalities.empty()) {
    std::vector<std::uint8_t> bytes = {0xFF, static_cast<std::uint8_t>(functionalities.size())};
    for (const Node* node : functionalities) {
      TableReader entry(*node, in.problems());
      bytes.push_back(static_cast<std::uint8_t>(entry.needed_integer("number", 0, 255)));
      bytes.push_back(static_cast<std::uint8_t>(entry.integer("generation", 1, 0, 255)));
      const auto options = entry.integers("options", 0, 255);
      bytes.push_back(static_cast<std::uint8_t>(options.size()));
      for (const std::int64_t option : options) bytes.push_back(static_cast<std::uint8_t>(option));
    }
    controller.answers.push_back({0xFC8E, std::move(bytes)});
  }
  for (const Node* node : in.tables("answer")) {
    TableReader entry(*node, in.problems());
    AnswerSpec answer;
    answer.pgn = static_cast<Pgn>(entry.needed_integer("pgn", 0, kMaxPgn));
    answer.payload = entry.bytes("payload", kMaxMessageBytes);
    if (answer.payload.empty()) entry.complain("payload", "is empty", "give at least one byte");
    controller.answers.push_back(std::move(answer));
  }
  for (AnswerSpec& answer : controller.answers) {
    while (answer.payload.size() < 8) answer.payload.push_back(0xFF);
    if (answer.payload.size() > kMaxMessageBytes)
      in.complain("label", "an answer is too long", "give <= 1785 bytes");
  }
}

}  // namespace

std::uint64_t read_name(TableReader& in) {
  const Node* node = in.any("name");
  if (node == nullptr) {
    in.complain("name", "is missing", "give the NAME as 16 hex digits or as a table of its fields");
    return 0;
  }
  if (node->kind == Node::Kind::text) {
    const auto bytes = bytes_from_hex(node->text);
    if (!bytes || bytes->size() != 8) {
      in.complain("name", "is no NAME", "give 16 hex digits");
      return 0;
    }
    std::uint64_t name = 0;
    for (const std::uint8_t byte : *bytes) name = name << 8 | byte;
    return name;
  }
  TableReader fields(*node, in.problems());
  NameFields name;
  name.self_configurable = fields.flag("self_configurable", true);
  name.industry_group = static_cast<unsigned>(fields.integer("industry_group", 2, 0, 7));
  name.device_class_instance = static_cast<unsigned>(fields.integer("device_class_instance", 0, 0, 15));
  name.device_class = static_cast<unsigned>(fields.integer("device_class", 0, 0, 127));
  name.function = static_cast<unsigned>(fields.needed_integer("function", 0, 255));
  name.function_instance = static_cast<unsigned>(fields.integer("function_instance", 0, 0, 31));
  name.ecu_instance = static_cast<unsigned>(fields.integer("ecu_instance", 0, 0, 7));
  name.manufacturer = static_cast<unsigned>(fields.integer("manufacturer", 2000, 0, 2047));
  name.identity = static_cast<unsigned>(fields.needed_integer("identity", 0, 0x1FFFFF));
  return encode_name(name);
}

ControllerSpec read_controller(const Node& node, const Scenario& scenario, Problems& problems) {
  TableReader in(node, problems);
  ControllerSpec controller;
  controller.label = in.needed_text("label");
  controller.bus = read_bus(in, scenario);
  controller.name = read_name(in);
  controller.address = static_cast<Address>(in.needed_integer("address", 0, 253));
  for (const std::int64_t address : in.integers("later_addresses", 0, 253))
    controller.later_addresses.push_back(static_cast<Address>(address));
  controller.absent = in.flag("absent", false);
  controller.already_running = in.flag("already_running", false);
  controller.power_on = in.span("power_on", 0, 0, kLongestScenario);
  controller.boot = in.span("boot", 100 * kMillisecond, 0, 10 * kMinute);
  controller.asks_for_claims = in.flag("asks_for_claims", true);
  controller.moves = in.flag("moves", true);
  controller.nacks = in.flag("nacks", true);
  controller.reports_violation = in.flag("reports_violation", false);
  controller.software = in.texts("software");
  controller.software_form = static_cast<SoftwareForm>(
      in.choice("software_form", 0, {"standard", "no-count", "no-final-star", "final-zero"}));
  controller.busy = read_pgns(in, "busy");
  controller.denied = read_pgns(in, "denied");
  controller.ignored = read_pgns(in, "ignored");
  controller.answer_time = in.span("answer_time", 20 * kMillisecond, 0, 10 * kSecond);
  controller.dm1_always = in.flag("dm1_always", false);
  controller.working_set = in.texts("working_set");
  controller.supply = in.text("supply", "");
  controller.side = in.text("side", "");
  if (in.has("brown_out"))
    controller.brown_out = real(in, "brown_out", 8, 0, 60);
  else
    in.any("brown_out");
  controller.reports_low_voltage = in.flag("reports_low_voltage", false);
  controller.low_voltage = real(in, "low_voltage", 10.5, 0, 60);
  if (in.has("low_voltage_fmi"))
    controller.low_voltage_fmi = static_cast<std::uint8_t>(in.integer("low_voltage_fmi", 18, 0, 31));
  else
    in.any("low_voltage_fmi");
  controller.complains = in.flag("complains", false);
  read_answers(in, controller);
  for (const Node* entry : in.tables("message"))
    controller.messages.push_back(read_message(*entry, problems));
  for (const Node* entry : in.tables("request"))
    controller.requests.push_back(read_request(*entry, problems));
  for (const Node* entry : in.tables("transfer"))
    controller.transfers.push_back(read_transfer(*entry, problems));
  return controller;
}

}  // namespace tramlog::stage
