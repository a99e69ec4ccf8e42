#include "report/code_words.hpp"

#include <algorithm>
#include <string_view>

namespace tramlog {
namespace {

struct Words {
  std::string_view code, words;
};

constexpr Words kWords[] = {
    // causes
    {"bus.bit-rate", "a wrong bit rate"},
    {"bus.overload", "the bus is overloaded"},
    {"bus.power-or-trunk", "the whole bus stopped"},
    {"capture.incomplete", "the capture is damaged or incomplete"},
    {"connector.hitch", "the implement's connector or main supply opened"},
    {"controller.not-on-bus", "not on the bus"},
    {"network.address-conflict", "two controllers want one address"},
    {"network.equal-units", "two units carry the same NAME"},
    {"partner.task-controller", "the task controller fell silent"},
    {"partner.terminal", "the terminal fell silent"},
    {"recorder.blind", "the recorder did not hear everything"},
    {"recorder.connection", "the recorder's own tap was open"},
    {"software.mismatch", "software that does not fit"},
    {"source.speed", "a speed or position source was lost or frozen"},
    {"supply.cranking", "the supply sagged, as at engine start"},
    {"supply.low-voltage", "the system's voltage sinks"},
    {"supply.shared", "a shared supply or ground failed"},
    {"supply.unit", "supply, ground or plug of one unit"},
    {"unit.floods", "a unit floods the bus"},
    {"unit.lost", "a unit lost its power or bus wires, or failed"},
    {"unit.restarts", "a unit starts again by itself"},
    {"unknown", "the cause is not known"},
    {"wiring.stub", "the bus wires to one unit opened"},
    {"wiring.termination", "termination or bus wires"},
    {"wiring.trunk", "the bus trunk opened"},
    // faults whose code alone does not say it
    {"blockage.signs", "signs of a blockage"},
    {"blower.range", "blower speed out of range"},
    {"bus.bit-rate-suspect", "another bit rate suspected"},
    {"bus.error-frames", "error frames on the bus"},
    {"bus.error-passive", "the recorder's interface went error-passive"},
    {"bus.load-high", "high bus load"},
    {"bus.off", "the recorder's interface went bus-off"},
    {"bus.silent", "nothing was heard on the bus"},
    {"client.timed-out", "a client stopped speaking"},
    {"controller.identity-changed", "another unit does the job"},
    {"controller.message-stopped", "a message stopped"},
    {"controller.restart-series", "starts again and again"},
    {"controller.restarted", "started again"},
    {"device.pool-broken", "the description cannot be read whole"},
    {"device.pool-refused", "the description was refused"},
    {"diagnostics.trouble-code", "trouble code"},
    {"message.jitter-grown", "messages came less regularly"},
    {"message.pace", "a message comes too slowly"},
    {"meter.at-limit", "meter works at its limit"},
    {"meter.dead-time", "meter answers late"},
    {"meter.tolerance", "meter off the set rate"},
    {"network.duplicate-name", "one NAME in use twice"},
    {"network.member-absent", "an announced unit never came"},
    {"network.unclaimed", "somebody talks without an address claim"},
    {"pressure.range", "pressure out of range"},
    {"recorder.only-errors", "nothing but errors was heard"},
    {"supply.voltage-differs", "less supply voltage than others"},
    {"supply.voltage-low", "low supply voltage"},
    {"supply.voltage-sags-at-cranking", "the supply voltage sags at engine start"},
    {"transfer.failed", "a transfer failed"},
    {"transfer.series", "transfers fail again and again"},
};

}  // namespace

std::string code_words(const std::string& code) {
  for (const Words& words : kWords)
    if (words.code == code) return std::string(words.words);
  std::string words = code;
  std::replace_if(
      words.begin(), words.end(), [](char c) { return c == '.' || c == '-'; }, ' ');
  return words;
}

std::string code_heading(const std::string& code, const std::string& who) {
  return code_words(code) + (who.empty() ? "" : ": " + who) + " [" + code + "]";
}

}  // namespace tramlog
