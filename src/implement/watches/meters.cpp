// Meters: does what is delivered follow the set rate. Finds the pairs of set and delivered rates and leads
// each value to its pair.

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <map>
#include <set>

#include "implement/families.hpp"
#include "implement/meter_lines.hpp"
#include "implement/meter_pair.hpp"
#include "implement/watch.hpp"

namespace tramlog::watches {
namespace {

constexpr std::size_t kMaxPairs = 64;     // of one device
constexpr std::size_t kMaxSources = 256;  // elements with a set rate
constexpr std::uint16_t kWorkState = 141, kPrescriptionControl = 158, kPrescriptionMode = 288;
constexpr std::int64_t kModeMaximum = 4, kModeMinimum = 5;  // of DDI 288 (fact sheet 5.2)
constexpr SpanNs kEchoTime = 500 * kMillisecond;  // a value that was on its way when the new one was written
constexpr unsigned kMaxDepth = 16;                // of elements below each other

// Depth, height and downforce are set and told like rates; blower, pressure and the like have watches of
// their own.
bool is_watched(const QuantityFamily& family) {
  if (family.is_rate()) return true;
  constexpr std::array<std::uint16_t, 5> kPositions{51, 56, 61, 365, 426};
  return std::find(kPositions.begin(), kPositions.end(), family.set) != kPositions.end();
}

enum class Role : std::uint8_t { set, actual, minimum, maximum };
struct Meaning {
  const QuantityFamily* family = nullptr;
  Role role = Role::set;
};
const std::map<std::uint16_t, Meaning>& meanings() {
  static const std::map<std::uint16_t, Meaning> table = [] {
    std::map<std::uint16_t, Meaning> made;
    for (const QuantityFamily& family : quantity_families()) {
      if (!is_watched(family)) continue;
      made[family.set] = {&family, Role::set};
      made[family.actual] = {&family, Role::actual};
      if (family.minimum != kNoDdi) made[family.minimum] = {&family, Role::minimum};
      if (family.maximum != kNoDdi) made[family.maximum] = {&family, Role::maximum};
    }
    return made;
  }();
  return table;
}

// One element's set rate: what the task controller wrote and what the device told.
struct Source {
  std::optional<std::int64_t> written, told;
  Mark written_at, told_at;
  SetRate in_force;
  std::uint64_t count = 0;
};

class Meters final : public DeviceWatch {
 public:
  explicit Meters(const Device& device) : device_(device) {}

  void on_value(const ProcessValue& value) override {
    const auto meaning = meanings().find(value.variable.ddi);
    if (meaning != meanings().end()) {
      const QuantityFamily& family = *meaning->second.family;
      switch (meaning->second.role) {
        case Role::set:
          take_set(family, value);
          break;
        case Role::actual:
          if (value.by_device) take_actual(family, value);
          break;
        case Role::minimum:
        case Role::maximum:
          refresh_limits();
          break;
      }
    } else if (value.by_device && value.variable.ddi == kPrescriptionControl) {
      for (auto& [key, source] : sources_) settle_source(key, source, value.at, true);
    } else if (value.by_device && value.variable.ddi == kPrescriptionMode) {
      const bool limited = value.raw == kModeMaximum || value.raw == kModeMinimum;
      for (auto& [key, pair] : pairs_)
        if (in_chain(key.second, value.variable.element)) pair.limit_told(limited);
    }
    look(value.at);
  }

  void on_pool() override {
    chains_.clear();
    refresh_limits();
    resolve(Mark{device_.now, 0});
    look(Mark{device_.now, 0});
  }

  void on_task(bool active, Mark at) override {
    // Task controllers send all rates again when a task starts.
    if (active) fresh_ = true;
    for (auto& [key, source] : sources_) settle_source(key, source, at, false);
    if (active)
      for (auto& [key, pair] : pairs_) lead(key, pair, at, false);
    look(at);
  }

  void on_speed(Mark at) override {
    const double speed =
        device_.machine.speed_mm_s(device_.now).value_or(std::numeric_limits<double>::quiet_NaN());
    for (auto& [key, pair] : pairs_) pair.speed(speed, at);
    look(at);
  }

  void on_blind() override {
    const Mark now{device_.now, 0};
    for (auto& [key, pair] : pairs_) pair.drop(now);
  }

  void on_break(Mark at) override {
    for (auto& [key, pair] : pairs_) pair.drop(at);
    for (auto& [key, source] : sources_) {
      // Rates do not outlive the connection.
      source.written.reset();
      source.told.reset();
      source.in_force = {};
    }
    fresh_ = false;
    for (auto& [key, pair] : pairs_) lead(key, pair, at, false);
  }

  void on_time(TimeNs now) override {
    look(Mark{now, 0});
    for (auto& [key, pair] : pairs_) pair.time(now);
  }

  void conclude(TimeNs end, ImplementRecord& out) override {
    std::map<Key, MeterTally> tallies;
    std::set<Key> used;  // set rates that some pair follows
    for (const auto& [key, pair] : pairs_) {
      MeterTally tally = pair.concluded(end);
      if (tally.set_element) used.insert({key.first, *tally.set_element});
      tallies.emplace(key, std::move(tally));
    }
    for (const auto& [key, source] : sources_) {
      if (used.count(key) != 0 || tallies.count(key) != 0) continue;
      MeterTally alone = empty_tally(key);
      alone.set_element = key.second;
      alone.set_count = source.count;
      alone.last_set_raw = source.in_force.raw ? source.in_force.raw : source.written;
      alone.greatest_set_raw = alone.last_set_raw;
      tallies.emplace(key, std::move(alone));
    }
    for (const Key& key : declared_pairs())
      if (tallies.count(key) == 0 && used.count(key) == 0 && tallies.size() < kMaxPairs)
        tallies.emplace(key, empty_tally(key));
    std::vector<const MeterTally*> order;
    for (const auto& [key, tally] : tallies) order.push_back(&tally);
    std::sort(order.begin(), order.end(), [](const MeterTally* a, const MeterTally* b) {
      return std::pair(a->element, a->family->set) < std::pair(b->element, b->family->set);
    });
    bool rates = false;
    for (const MeterTally* tally : order) {
      tell_meter(device_, *tally, out);
      rates = rates || tally->family->is_rate();
    }
    if (!rates) tell_no_meters(out);
  }

 private:
  using Key = std::pair<const QuantityFamily*, std::uint16_t>;  // and element

  MeterTally empty_tally(const Key& key) const {
    MeterTally tally;
    tally.family = key.first;
    tally.element = key.second;
    tally.maximum_raw = device_.value_of({key.second, key.first->maximum});
    tally.work_known = device_.working().has_value();
    tally.worked = true;  // not known; what is missing is told first
    return tally;
  }

  // Elements whose description lists a set and an actual rate.
  std::vector<Key> declared_pairs() const {
    std::vector<Key> found;
    for (const ElementObject& element : device_.pool.elements) {
      std::set<std::uint16_t> ddis;
      for (const std::uint16_t id : element.references)
        if (const VariableObject* variable = device_.pool.variable_by_id(id)) ddis.insert(variable->ddi);
      for (const std::uint16_t ddi : ddis) {
        const auto meaning = meanings().find(ddi);
        if (meaning == meanings().end() || meaning->second.role != Role::actual) continue;
        if (ddis.count(meaning->second.family->set) != 0)
          found.push_back({meaning->second.family, element.number});
      }
      if (found.size() >= kMaxPairs) break;
    }
    return found;
  }

  // The element and those above it.
  const std::vector<std::uint16_t>& chain(std::uint16_t element) {
    const auto known = chains_.find(element);
    if (known != chains_.end()) return known->second;
    std::vector<std::uint16_t> made{element};
    const ElementObject* object = device_.pool.element_by_number(element);
    for (unsigned depth = 0; object != nullptr && depth < kMaxDepth; ++depth) {
      const std::uint16_t parent = object->parent;
      object = parent == object->id ? nullptr : device_.pool.element_by_id(parent);
      if (object != nullptr) made.push_back(object->number);
    }
    if (chains_.size() > kMaxPairs + kMaxSources) chains_.clear();
    return chains_[element] = std::move(made);
  }
  bool in_chain(std::uint16_t element, std::uint16_t above) {
    const auto& all = chain(element);
    return std::find(all.begin(), all.end(), above) != all.end();
  }
  bool manual(std::uint16_t element) {
    for (const std::uint16_t one : chain(element))
      if (const auto state = device_.values.told({one, kPrescriptionControl})) return (*state & 3) == 0;
    return false;
  }

  void take_set(const QuantityFamily& family, const ProcessValue& value) {
    const Key key{&family, value.variable.element};
    auto found = sources_.find(key);
    if (found == sources_.end()) {
      if (sources_.size() >= kMaxSources) return;
      found = sources_.emplace(key, Source{}).first;
      resolve(value.at);
    }
    Source& source = found->second;
    ++source.count;
    for (auto& [pair_key, pair] : pairs_)
      if (pair_key.first == &family && pair.tally().set_element == key.second) pair.count_set();
    if (value.by_device) {
      // Told just after a new rate was written: it may have been on its way before.
      const bool late_echo = source.written && source.in_force.raw != value.raw &&
                             span_between(source.written_at.time, value.at.time) < kEchoTime;
      if (late_echo) return;
      source.told = value.raw;
      source.told_at = value.at;
    } else {
      source.written = value.raw;
      source.written_at = value.at;
    }
    settle_source(key, source, value.at, true);
  }

  // Which of both is in force, and on to the pairs.
  void settle_source(const Key& key, Source& source, Mark at, bool step) {
    const bool by_hand = manual(key.second);
    SetRate now = source.in_force;
    now.manual = by_hand;
    now.fresh = fresh_;
    now.at = at;
    const bool told_later = source.told && (!source.written || source.told_at.time >= source.written_at.time);
    if (source.told && (told_later || by_hand))
      now.raw = source.told;
    else if (source.written)
      now.raw = source.written;
    now.manual = by_hand && !source.told;
    source.in_force = now;
    for (auto& [pair_key, pair] : pairs_)
      if (pair_key.first == key.first && pair.tally().set_element == key.second) pair.set_rate(now, step);
  }

  void take_actual(const QuantityFamily& family, const ProcessValue& value) {
    const Key key{&family, value.variable.element};
    auto found = pairs_.find(key);
    if (found == pairs_.end()) {
      if (pairs_.size() >= kMaxPairs) return;
      found = pairs_.emplace(key, MeterPair(device_, family, value.variable.element)).first;
      if (device_.pictured && pairs_.size() <= Device::kMaxPicturedPairs) found->second.keep_series();
      MeterPair& made = found->second;
      made.set_limits(device_.value_of({key.second, family.minimum}),
                      device_.value_of({key.second, family.maximum}));
      made.speed(device_.machine.speed_mm_s(device_.now).value_or(std::numeric_limits<double>::quiet_NaN()),
                 value.at);
      made.work(working_for(key.second), value.at);
      resolve(value.at);
      lead(key, made, value.at, false);
    }
    MeterPair& pair = found->second;
    std::optional<double> interval_s, change_raw;
    if (const ValueEntry* entry = device_.values.find(value.variable)) {
      const auto& by_time = entry->measurements[0];
      if (by_time && !by_time->refused && by_time->raw > 0) interval_s = by_time->raw / 1000.0;
      const auto& by_change = entry->measurements[4];
      if (by_change && !by_change->refused && by_change->raw > 0) change_raw = by_change->raw;
    }
    pair.sending(interval_s, change_raw);
    pair.sample(value.at, value.raw);
  }

  // Whose set rate each delivered rate follows: its own element's, else that of the element above or below if
  // only one can be meant.
  void resolve(Mark at) {
    for (auto& [key, pair] : pairs_) {
      const auto before = pair.tally().set_element;
      bool ambiguous = false;
      const auto source = source_for(key, ambiguous);
      pair.set_source(source, ambiguous);
      if (source != before) lead(key, pair, at, false);
    }
  }
  std::optional<std::uint16_t> source_for(const Key& key, bool& ambiguous) const {
    if (sources_.count(key) != 0) return key.second;
    const ElementObject* own = device_.pool.element_by_number(key.second);
    if (own == nullptr) return std::nullopt;
    std::vector<std::uint16_t> candidates;
    if (const ElementObject* parent = device_.pool.element_by_id(own->parent);
        parent != nullptr && parent != own && sources_.count({key.first, parent->number}) != 0) {
      // A rate above several delivering elements is their sum, or each one's: nobody says.
      std::size_t sharing = 0;
      for (const std::size_t child : device_.pool.children_of(parent->id))
        if (pairs_.count({key.first, device_.pool.elements[child].number}) != 0) ++sharing;
      candidates.push_back(parent->number);
      if (sharing > 1) ambiguous = true;
    }
    for (const std::size_t child : device_.pool.children_of(own->id)) {
      const std::uint16_t number = device_.pool.elements[child].number;
      if (number != key.second && sources_.count({key.first, number}) != 0) candidates.push_back(number);
    }
    if (candidates.size() > 1) ambiguous = true;
    if (candidates.size() != 1 || ambiguous) return std::nullopt;
    return candidates.front();
  }
  void lead(const Key& key, MeterPair& pair, Mark at, bool step) {
    const auto element = pair.tally().set_element;
    SetRate rate;
    rate.fresh = fresh_ && !pair.tally().set_ambiguous;
    if (element) {
      const auto source = sources_.find({key.first, *element});
      if (source != sources_.end()) rate = source->second.in_force;
    }
    rate.at = at;
    pair.set_rate(rate, step);
  }

  void refresh_limits() {
    for (auto& [key, pair] : pairs_)
      pair.set_limits(device_.value_of({key.second, key.first->minimum}),
                      device_.value_of({key.second, key.first->maximum}));
  }

  std::optional<bool> working_for(std::uint16_t element) {
    const std::optional<bool> machine = device_.working();
    if (!machine.value_or(false)) return machine;
    for (const std::uint16_t one : chain(element))
      if (device_.values.told({one, kWorkState}) == std::int64_t{0}) return false;
    return true;
  }

  // Work and sections as they are now; cheap while nothing changed.
  void look(Mark at) {
    const std::optional<bool> working = device_.working();
    const std::uint64_t states = device_.values.state_changes();
    if (working == working_ && states == states_) return;
    const bool states_changed = states != states_;
    working_ = working;
    states_ = states;
    for (auto& [key, pair] : pairs_) {
      const std::optional<bool> now = working_for(key.second);
      pair.work(now, at);
      if (states_changed && now.value_or(false)) pair.disturb(at);
    }
  }

  const Device& device_;
  std::map<Key, Source> sources_;
  std::map<Key, MeterPair> pairs_;
  std::map<std::uint16_t, std::vector<std::uint16_t>> chains_;
  std::optional<bool> working_;
  std::uint64_t states_ = 0;
  bool fresh_ = false;  // a task started in this recording
};

std::unique_ptr<DeviceWatch> make(const Device& device) {
  return std::make_unique<Meters>(device);
}

}  // namespace

extern const DeviceWatchKind meters;
const DeviceWatchKind meters{"meters", make};

}  // namespace tramlog::watches
