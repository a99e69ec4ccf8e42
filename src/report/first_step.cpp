#include "report/first_step.hpp"

#include <string_view>

namespace tramlog {
namespace {

struct Step {
  std::string_view code;  // whole, or a topic with its dot
  const char* words;
};

// A code of its own stands before its topic.
constexpr Step kSteps[] = {
    {"bin.", "Look into the bin: is it as empty as told? Else its level sensor, plug and dirt."},
    {"blockage.",
     "Look at the rows and hoses of the sections named; then at the trouble codes of that time."},
    {"blower.",
     "Fan speed at the tractor's hydraulic flow or PTO; then the fan's speed sensor and its plug."},
    {"bus.bit-rate", "Unplug the units that were never understood one by one, key off: do the errors end?"},
    {"bus.load", "The loudest senders in the full report: which rates can be lowered?"},
    {"bus.one-talker", "Key off, unplug that unit: does the load fall to what is usual?"},
    {"bus.silent", "The recorder's own plug at the diagnostic connector; then the bus's main supply."},
    {"bus.", "Key off: measure between CAN_H and CAN_L: 60 ohms is right. Then plugs and cables of the bus."},
    {"capture.clock-step",
     "Set the recorder's clock, and hold times of this recording against the bus's own."},
    {"capture.", "Copy the capture again from the recorder, or mend it: tramlog mend."},
    {"client.",
     "Plug and supply of the client that stopped speaking; does its page come back after key off and on?"},
    {"controller.software",
     "Compare the software told here with what the machine should have; update what is behind."},
    {"controller.identity", "Was a unit replaced? Then learn the roster anew: tramlog roster learn."},
    {"controller.message-stopped",
     "Sensor or function behind that message; then the software of its sender."},
    {"controller.",
     "Plug and supply voltage of that unit, key off first: seated, locked, pins straight and dry."},
    {"device.pool-",
     "Have the maker's description of this implement loaded anew; tramlog devices shows what is wrong in "
     "it."},
    {"device.version",
     "Fewer sections or channels in the implement's set-up, or a task controller that serves as many."},
    {"device.", "Task started in the display? Then plug and supply of the implement's controller."},
    {"diagnostics.",
     "Look the trouble code up in the manual of the unit that told it, and at the part that it names."},
    {"examiner.", "Cut the recording shorter around the trouble, and report on that."},
    {"file-server.", "Is the function switched on in the display? Then supply and plug of the file server."},
    {"geometry.",
     "Measure the sections on the machine and enter widths and offsets in the implement's set-up."},
    {"machine.", "Was the key turned off on purpose? Else supply behind the key."},
    {"message.", "Load of the sender and of the bus at that time; then the software of the sender."},
    {"meter.no-set-rate", "Rate chosen in the task, or set by hand? Set it, and try again."},
    {"meter.tolerance", "Calibrate that meter by its manual, then compare set and delivered rate again."},
    {"meter.settled-error", "Calibrate that meter by its manual, then compare set and delivered rate again."},
    {"meter.at-limit",
     "Set rate and speed against what that meter can deliver; then metering roller and gear."},
    {"meter.flow-stopped", "Look into the bin and at the outlet of that meter: empty, bridged, blocked?"},
    {"meter.",
     "Drive of that meter: motor, valve, roller run freely? Then its control values, by its manual."},
    {"network.address-w",
     "Does that unit keep its address over key off? If not: its software, or its battery."},
    {"network.address", "Set address or instance of one of the two controllers, by its manual."},
    {"network.cannot-claim", "Set address or instance of that controller, by its manual."},
    {"network.duplicate", "Set function instance or ECU instance of one of the two, by its manual."},
    {"network.member-absent",
     "Is that unit fitted and switched on? Then its fuse, and the supply voltage at its plug."},
    {"network.", "Find the unit that sends from that address: unplug one after the other, key off first."},
    {"position.",
     "Antenna and correction signal: sky free, cable and plug dry, licence of the correction valid."},
    {"pressure.",
     "Fan speed, then hoses and the tank's lid for leaks; then the pressure sensor and its plug."},
    {"process-data.",
     "Load the implement's description into the task controller anew, and try the task again."},
    {"recorder.disk", "Room and health of the recorder's disk."},
    {"recorder.only-errors", "The recorder's bit rate, then its CAN wires: swapped, or open?"},
    {"recorder.", "The recorder's supply and plug."},
    {"request.",
     "Can that unit answer what is asked? If not, the one who asks is set up for another machine."},
    {"section.overridden", "The switch of that section at the implement: back to automatic."},
    {"section.on-delay", "Set the section's delay times in the display to what is measured here."},
    {"section.off-delay", "Set the section's delay times in the display to what is measured here."},
    {"section.",
     "Actuator of that section: moves freely, plug seated, supply there? Then its position switch."},
    {"software.", "Bring equal units to the same software."},
    {"source.", "Sensor of that source (wheel, radar, antenna): plug, cable, dirt."},
    {"speed.sources-differ", "Calibrate the speed source that stands alone: 100 m by its manual."},
    {"speed.source", "The speed source chosen in display and implement: the same, and the one meant?"},
    {"speed.", "Sensor of that source (wheel, radar, antenna): plug, cable, dirt."},
    {"supply.",
     "Battery and its ground, then the supply voltage at the plug of the unit that told it, under load."},
    {"task-controller.never", "Is the function switched on in the display, and licensed?"},
    {"task-controller.", "Is the function switched on in the display? Then supply and plug of the display."},
    {"terminal.", "Supply and plug of the display; does it start again by itself?"},
    {"total.",
     "Working width and calibration in the implement's set-up; then note the totals and drive a measured "
     "strip."},
    {"transfer.", "Plugs and load of the bus at that time; does it fail again after key off and on?"},
    {"units.", "Set the same units in display and implement."},
    {"work-state.", "The work switch at the implement: position, plug, and which one the display goes by."},
};

}  // namespace

const char* first_step(const std::string& code) {
  for (const Step& step : kSteps)
    if (code.compare(0, step.code.size(), step.code) == 0) return step.words;
  return nullptr;
}

}  // namespace tramlog
