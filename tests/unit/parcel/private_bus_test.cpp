// What the private bus shows of names of buses and of bytes that no rule of a message knows.
#include "parcel/private_bus.hpp"

#include <catch2/catch.hpp>

using namespace tramlog;

namespace {

std::span<const Event> concealed(PrivateBus& bus, const std::vector<Event>& events) {
  bus.learn(events);
  REQUIRE(bus.settle());
  bus.plan(events);
  bus.planned();
  return bus.conceal(events);
}

}  // namespace

TEST_CASE("Only names that a bus has by itself stay") {
  const std::vector<std::pair<std::string, bool>> names{
      {"can0", true},      {"vcan12", true},   {"slcan1", true}, {"vxcan3", true},   {"bus0", true},
      {"smith02", false},  {"can", false},     {"otto1", false}, {"can4711", false}, {"cansmit0", false},
      {"can-of-1", false}, {"CANOTTO", false}, {"xcan0", false}, {"0", false},       {"can0a", false}};
  std::vector<Notice> notices;
  for (const auto& [name, ignored] : names) notices.emplace_back(BusInfo{name, 0});
  std::vector<Event> events;
  for (const Notice& notice : notices) {
    Event event;
    event.kind = EventKind::notice;
    event.notice = &notice;
    event.bus = static_cast<BusIndex>(events.size());
    events.push_back(event);
  }
  PrivateBus bus(Schema::built_in(), {});
  const auto shown = concealed(bus, events);
  REQUIRE(shown.size() == names.size());
  for (std::size_t i = 0; i < names.size(); ++i) {
    INFO(names[i].first);
    const std::string& name = std::get<BusInfo>(*shown[i].notice).name;
    CHECK((name == names[i].first) == names[i].second);
    CHECK(name.find_first_of("0123456789") != std::string::npos);
  }
}
