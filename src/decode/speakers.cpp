#include "decode/speakers.hpp"

#include "base/text.hpp"

namespace tramlog {

void Speakers::take_claim(const Event& frame) {
  if (frame.bus < kMaxBuses) network_.take_claim(frame);
}

Speaker Speakers::at(BusIndex bus, Address address) const {
  Speaker speaker;
  speaker.bus = bus;
  speaker.address = address;
  const ControllerId owner = network_.owner(bus, address);
  if (address == kGlobalAddress) {
    speaker.words = "all";
  } else if (address == kNullAddress) {
    speaker.words = "no address";
  } else if (owner == kNobody) {
    speaker.words = "unclaimed";
  } else {
    const Name name = network_.controllers()[static_cast<std::size_t>(owner)].name;
    speaker.name = name;
    const auto label = labels_.find(name.raw());
    speaker.words = label != labels_.end() ? label->second : function_term(name);
  }
  return speaker;
}

void Speakers::changed(BusIndex bus, Address address) {
  while (buses_.size() <= bus) buses_.push_back(std::make_unique<std::array<std::uint32_t, 256>>());
  ++(*buses_[bus])[address];
  ++version_;
}

void Speakers::on_owner(BusIndex bus, Address address, ControllerId, ControllerId, TimeNs) {
  changed(bus, address);
}

void Speakers::on_claim(const Claim& claim) {
  if (claim.kind == ClaimKind::first && roster_) match_labels();
}

/// Who fits which entry can change with every NAME that is new.
void Speakers::match_labels() {
  const std::vector<ControlFunction>& controllers = network_.controllers();
  std::vector<Seen> seen(controllers.size());
  for (std::size_t i = 0; i < controllers.size(); ++i) seen[i].name = controllers[i].name;
  std::unordered_map<std::uint64_t, std::string> labels;
  for (const EntryResult& result : match_roster(*roster_, seen).entries)
    if (result.seen)
      labels.emplace(seen[*result.seen].name.raw(), printable_utf8(roster_->entries[result.entry].label));
  labels.swap(labels_);
  for (const ControlFunction& controller : controllers) {
    const auto before = labels.find(controller.name.raw());
    const auto now = labels_.find(controller.name.raw());
    const bool same = before == labels.end() || now == labels_.end()
                          ? (before == labels.end()) == (now == labels_.end())
                          : before->second == now->second;
    if (!same && controller.address != kNullAddress) changed(controller.bus, controller.address);
  }
}

}  // namespace tramlog
