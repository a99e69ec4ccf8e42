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
    // faults and lines of the check-list
    {"bin.low", "a bin is nearly empty"},
    {"blockage.signs", "signs of a blockage"},
    {"blower.range", "blower speed out of range"},
    {"bus.bit-rate-suspect", "another bit rate suspected"},
    {"bus.error-frames", "error frames on the bus"},
    {"bus.error-passive", "the recorder's interface went error-passive"},
    {"bus.load", "raised bus load"},
    {"bus.load-high", "high bus load"},
    {"bus.not-iso11783", "other traffic on the bus"},
    {"bus.off", "the recorder's interface went bus-off"},
    {"bus.one-talker-floods", "one talker floods the bus"},
    {"bus.silent", "nothing was heard on the bus"},
    {"capture.clock-step", "the recorder's clock was set"},
    {"client.timed-out", "a client stopped speaking"},
    {"controller.identity-changed", "another unit does the job"},
    {"controller.intended-silence", "a unit announced its silence"},
    {"controller.message-stopped", "a message stopped"},
    {"controller.restart-series", "starts again and again"},
    {"controller.restarted", "started again"},
    {"controller.software-unknown", "software not told"},
    {"device.client-lost", "the task controller lost a client"},
    {"device.pool-broken", "the description cannot be read whole"},
    {"device.pool-refused", "the description was refused"},
    {"device.task-out-of-step", "task state out of step"},
    {"device.version", "version of the description"},
    {"device.version-mismatch", "versions do not fit"},
    {"diagnostics.many-at-once", "many trouble codes at once"},
    {"diagnostics.trouble-code", "trouble code"},
    {"examiner.limit-reached", "more than this program keeps"},
    {"file-server.lost", "the file server fell silent"},
    {"machine.key-off", "the key was switched off"},
    {"machine.power-down", "the machine was switched off"},
    {"message.jitter-grown", "messages came less regularly"},
    {"message.pace", "a message comes too slowly"},
    {"meter.at-limit", "meter works at its limit"},
    {"meter.dead-time", "meter answers late"},
    {"meter.flow-stopped", "a meter's flow stopped"},
    {"meter.hunting", "a meter hunts around its set rate"},
    {"meter.no-answer", "a meter does not answer"},
    {"meter.no-set-rate", "a meter without a set rate"},
    {"meter.overshoot", "a meter overshoots"},
    {"meter.rise-time", "a meter changes slowly"},
    {"meter.settled-error", "a meter settles off the set rate"},
    {"meter.tolerance", "meter off the set rate"},
    {"network.cannot-claim", "a unit got no address"},
    {"network.duplicate-name", "one NAME in use twice"},
    {"network.member-absent", "an announced unit never came"},
    {"network.unclaimed", "somebody talks without an address claim"},
    {"position.degraded", "the position got worse"},
    {"position.frozen", "the position is frozen"},
    {"position.lost", "the position is lost"},
    {"pressure.range", "pressure out of range"},
    {"recorder.disk", "the recorder's disk"},
    {"recorder.only-errors", "nothing but errors was heard"},
    {"request.refused", "requests were refused"},
    {"request.unanswered", "requests stay unanswered"},
    {"section.error", "a section tells an error"},
    {"section.flicker", "a section switches to and fro"},
    {"section.never-follows", "a section never follows"},
    {"section.off-delay", "a section switches off late"},
    {"section.on-delay", "a section switches on late"},
    {"section.outside-work", "a section is on outside work"},
    {"section.overridden", "a section was overridden by hand"},
    {"software.differs-among-equals", "equal units with different software"},
    {"speed.frozen", "a speed is frozen"},
    {"speed.source", "another speed source is used"},
    {"speed.source-lost", "a speed source is lost"},
    {"speed.sources-differ", "speed sources differ"},
    {"speed.zero-while-working", "no speed while working"},
    {"supply.voltage-differs", "less supply voltage than others"},
    {"supply.voltage-low", "low supply voltage"},
    {"supply.voltage-sags-at-cranking", "the supply voltage sags at engine start"},
    {"task-controller.lost", "the task controller fell silent"},
    {"terminal.lost", "the terminal fell silent"},
    {"total.area", "the area counted"},
    {"total.differs", "totals differ"},
    {"total.frozen", "a total stands still"},
    {"total.jumped-back", "a total jumped back"},
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
