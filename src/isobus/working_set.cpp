#include "isobus/working_set.hpp"

#include <algorithm>

namespace tramlog {
namespace {

/// A complete definition replaces the one before.
void drop_stale(WorkingSet& set) {
  if (set.complete()) std::erase_if(set.members, [](const WorkingSetMember& m) { return !m.in_current; });
}

}  // namespace

std::size_t WorkingSet::heard_in_current() const {
  return static_cast<std::size_t>(
      std::count_if(members.begin(), members.end(), [](const WorkingSetMember& m) { return m.in_current; }));
}

void WorkingSets::take(const Message& message) {
  if (message.pgn == kPgnWorkingSetMaster) take_master(message);
  if (message.pgn == kPgnWorkingSetMember) take_member(message);
}

const WorkingSet* WorkingSets::find(BusIndex bus, Address master) const {
  const auto found = sets_.find({bus, master});
  return found == sets_.end() ? nullptr : &found->second;
}

WorkingSet* WorkingSets::set_of(const Message& message) {
  const std::pair key{message.bus, message.source};
  auto found = sets_.find(key);
  if (found == sets_.end()) {
    if (sets_.size() >= kMaxSets) {
      ++stats_.not_kept;
      return nullptr;
    }
    found = sets_.emplace(key, WorkingSet{}).first;
    WorkingSet& set = found->second;
    set.bus = message.bus;
    set.master = message.source;
    set.defined = message.start;
    set.first_frame = message.first_frame;
  }
  found->second.last_heard = message.end;
  return &found->second;
}

void WorkingSets::take_master(const Message& message) {
  if (message.data.empty() || message.data[0] == 0) {
    ++stats_.malformed;
    return;
  }
  WorkingSet* set = set_of(message);
  if (!set) return;
  set->members_told = message.data[0];
  set->defined = message.start;
  set->first_frame = message.first_frame;
  ++set->definitions;
  for (WorkingSetMember& member : set->members) member.in_current = false;
  drop_stale(*set);
}

void WorkingSets::take_member(const Message& message) {
  if (message.data.size() != 8) {
    ++stats_.malformed;
    return;
  }
  WorkingSet* set = set_of(message);
  if (!set) return;
  const Name name = Name::from_claim(message.data.data());
  auto member = std::find_if(set->members.begin(), set->members.end(),
                             [=](const WorkingSetMember& m) { return m.name == name; });
  if (member == set->members.end()) {
    if (set->members.size() >= kMaxMembers) {
      // Members of an older definition make room; without any the rest is beyond what one byte can count.
      const auto stale = std::find_if(set->members.begin(), set->members.end(),
                                      [](const WorkingSetMember& m) { return !m.in_current; });
      if (stale == set->members.end()) {
        ++stats_.not_kept;
        return;
      }
      set->members.erase(stale);
    }
    member = set->members.insert(set->members.end(), WorkingSetMember{name});
  }
  member->announced = message.start;
  member->frame = message.first_frame;
  member->in_current = true;
  drop_stale(*set);
}

}  // namespace tramlog
