// The sections of one boom: turns condensed and single work states, section control state and master states
// into what each section's track needs. Bounded.
#pragma once

#include <cstdint>
#include <map>
#include <optional>
#include <vector>

#include "implement/device.hpp"
#include "implement/section_track.hpp"

namespace tramlog {

/// What an element tells as its own work state (DDI 141) if it keeps doing so: a measurement command is in
/// force, or it told both states, or three times. A state that was asked for once is as old as the question.
std::optional<bool> kept_work_state(const Device& device, std::uint16_t element);

class SectionBoom {
 public:
  /// A section is known by its place in the condensed states (0 ..), or by its own element.
  struct Key {
    bool single = false;
    unsigned number = 0;  // place or element
    auto operator<=>(const Key&) const = default;
  };

  /// `element`: the boom's.
  SectionBoom(const Device& device, const SectionLimits& limits, std::uint16_t element);

  /// The description changed.
  void describe();
  /// DDI 161 to 176 of the boom, told.
  void condensed_actual(unsigned first_section, std::uint32_t raw, Mark at, std::size_t& room);
  /// DDI 290 to 305, set by the task controller.
  void condensed_command(unsigned first_section, std::uint32_t raw, Mark at, std::size_t& room);
  /// DDI 367 to 382, told.
  void condensed_override(unsigned first_section, std::uint32_t raw, Mark at, std::size_t& room);
  void single_actual(std::uint16_t element, std::int64_t raw, Mark at, std::size_t& room);
  void single_command(std::uint16_t element, std::int64_t raw, Mark at, std::size_t& room);
  /// Work states, section control state or speed changed: asks the device.
  void look(Mark at);
  /// The task controller wrote "on" to a section control state (DDI 160) above these sections.
  void control_asked(Mark at) { control_asked_ = at; }
  /// A task began or ended: its commands end with it.
  void on_task(bool active, Mark at);
  void forget(TimeNs now, bool doubtful);
  void advance(TimeNs now);

  std::uint16_t element() const { return element_; }
  const std::map<Key, SectionTrack>& tracks() const { return tracks_; }
  /// It or something above it tells a section control state.
  bool control_told() const { return control_told_; }
  bool was_controlled() const { return was_controlled_; }
  std::uint64_t commands() const { return commands_; }  // frames
  std::uint64_t commands_bound() const { return commands_bound_; }
  std::uint64_t told() const { return told_; }
  /// How long a change may wait until it is told, seconds; none: too few messages.
  std::optional<double> message_period_s() const;
  /// The boom's work state only says whether any section is on: it is no master.
  bool work_state_follows() const;
  bool concerns(std::uint16_t element) const;

 private:
  SectionTrack* track(Key key, std::size_t& room, Mark at);
  void tell_spacing(std::uint32_t stream, bool changed, Mark at);
  void command(Key key, SectionState state, Mark at, std::size_t& room);
  void watch_followers(Mark at);

  const Device& device_;
  SectionLimits limits_;
  std::uint16_t element_;
  std::vector<std::uint16_t> above_;  // the boom and what stands above it
  std::map<Key, SectionTrack> tracks_;
  struct Order {
    bool on = false;
    Mark at;
  };
  std::map<Key, Order> unbound_;  // the latest commands while section control was off
  SectionTrack::Conditions conditions_;
  bool binding_ = true, control_told_ = false, was_controlled_ = false;
  bool dated_ = false;  // a first command is new: a task or section control started, or long nothing came
  std::optional<Mark> first_, control_asked_;
  std::uint64_t commands_ = 0, commands_bound_ = 0, told_ = 0;
  std::map<std::uint32_t, TimeNs> last_told_;
  struct Spacing {
    double seconds = 0;
    bool changed = false;  // the message after it told a change
  };
  std::vector<Spacing> spacings_;
  // Does the boom's own work state follow the sections?
  std::optional<bool> own_state_;
  std::optional<TimeNs> differ_since_;
  double longest_differ_s_ = 0;
  std::uint64_t own_switched_on_ = 0;
};

}  // namespace tramlog
