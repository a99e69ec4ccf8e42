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

TEST_CASE("Frames that are no message tell only what the standard defines") {
  struct Case {
    EventKind kind;
    std::uint8_t flags;
    std::uint32_t id;
    std::string data, shown;
  };
  using namespace std::string_literals;
  constexpr std::uint32_t kTp = 0x1CECFF80, kEtp = 0x1CC82680;
  const auto frame = [](std::uint32_t id, std::string data, std::string shown) {
    return Case{EventKind::frame, kExtendedId, id, std::move(data), std::move(shown)};
  };
  const auto error = [](std::uint32_t mask, std::string data, std::string shown) {
    return Case{EventKind::error, 0, mask, std::move(data), std::move(shown)};
  };
  const Case cases[] = {
      frame(kTp, "\x07SMITH77", "\x07\xFF\xFF\xFF\xFF\xFF\xFF\xFF"),
      frame(kEtp, "\x07SMITH77", "\x07\xFF\xFF\xFF\xFF\xFF\xFF\xFF"),
      frame(kTp, "\x10\x0E\0\2\xFF\xDA\xFE\0"s, "\x10\x0E\0\2\xFF\xDA\xFE\0"s),
      frame(kTp, "\x20\x0E\0\2S\xDA\xFE\0"s, "\x20\x0E\0\2\xFF\xDA\xFE\0"s),
      frame(kTp, "\x11\2\1SM\xDA\xFE\0"s, "\x11\2\1\xFF\xFF\xDA\xFE\0"s),
      frame(kTp, "\x13\x0E\0\2S\xDA\xFE\0"s, "\x13\x0E\0\2\xFF\xDA\xFE\0"s),
      frame(kTp, "\xFF\3SMI\xDA\xFE\0"s, "\xFF\3\xFF\xFF\xFF\xDA\xFE\0"s),
      frame(kEtp, "\x16\5\1\0\0\0\xCB\0"s, "\x16\5\1\0\0\0\xCB\0"s),
      frame(kEtp, "\xFF\3SMI\0\xCB\0"s, "\xFF\3\xFF\xFF\xFF\0\xCB\0"s),
      // Error frames: controller and counters; protocol; lost arbitration; transceiver.
      error(0x204, "S\x10MITH\x60\x88", "\0\x10\0\0\0\0\x60\x88"s),
      error(0x088, "SM\x04\x0AITH\x88", "\0\0\x04\x0A\0\0H\x88"s),
      error(0x008, "SM\x04ZIT\0\0"s, "\0\0\x04\0\0\0\0\0"s),
      error(0x002, "\x0CSMITH\0\0"s, "\x0C\0\0\0\0\0\0\0"s),
      error(0x010, "SMIT\x04H\0\0"s, "\0\0\0\0\x04\0\0\0"s),
      error(0x010, "SMITUH\0\0"s, "\0\0\0\0\0\0\0\0"s),
      // A remote frame has no data on the wire; a capture may hold some.
      {EventKind::frame, kExtendedId | kRemote, 0x18FEF180, "JOHNSMIT", std::string(8, '\0')},
      // CAN FD with the number of a transfer's packet is no packet.
      {EventKind::frame, kExtendedId | kFd, 0x1CEBFF80, "\1SMITHSMITHSMITH", "\1"s + std::string(15, '\0')},
  };
  std::vector<Event> events;
  for (const Case& one : cases) {
    Event event;
    event.kind = one.kind;
    event.flags = one.flags;
    event.id = one.id;
    event.number = events.size() + 1;
    event.time = static_cast<TimeNs>(events.size() + 1) * kSecond;
    event.data = reinterpret_cast<const std::uint8_t*>(one.data.data());
    event.len = static_cast<std::uint8_t>(one.data.size());
    events.push_back(event);
  }
  PrivateBus bus(Schema::built_in(), {});
  const auto shown = concealed(bus, events);
  REQUIRE(shown.size() == events.size());
  for (std::size_t i = 0; i < events.size(); ++i) {
    INFO(i);
    CHECK(std::string(reinterpret_cast<const char*>(shown[i].data), shown[i].len) == cases[i].shown);
  }
}
