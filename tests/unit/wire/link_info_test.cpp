// rtnetlink messages with the kernel's own structs, whole, cut and mutated.
#include "wire/link_info.hpp"

#include <linux/can/netlink.h>
#include <linux/if_link.h>
#include <linux/rtnetlink.h>

#include <catch2/catch.hpp>
#include <cstring>
#include <memory>
#include <random>

using namespace tramlog;

namespace {

using Buffer = std::vector<std::uint8_t>;

template <class T>
void append(Buffer& out, const T& value) {
  const auto* at = reinterpret_cast<const std::uint8_t*>(&value);
  out.insert(out.end(), at, at + sizeof value);
}
void pad(Buffer& out) {
  while (out.size() % 4 != 0) out.push_back(0);
}
Buffer attribute(unsigned type, const Buffer& payload) {
  Buffer out;
  append(out, rtattr{static_cast<unsigned short>(RTA_LENGTH(payload.size())), static_cast<unsigned short>(type)});
  out.insert(out.end(), payload.begin(), payload.end());
  pad(out);
  return out;
}
template <class T>
Buffer attribute_of(unsigned type, const T& value) {
  Buffer payload;
  append(payload, value);
  return attribute(type, payload);
}
Buffer text_attribute(unsigned type, const std::string& text) {
  Buffer payload(text.begin(), text.end());
  payload.push_back(0);
  return attribute(type, payload);
}
Buffer operator+(Buffer a, const Buffer& b) {
  a.insert(a.end(), b.begin(), b.end());
  return a;
}
Buffer message(unsigned type, const Buffer& body) {
  Buffer out;
  nlmsghdr head{};
  head.nlmsg_len = static_cast<__u32>(NLMSG_LENGTH(body.size()));
  head.nlmsg_type = static_cast<__u16>(type);
  append(out, head);
  out.insert(out.end(), body.begin(), body.end());
  pad(out);
  return out;
}
Buffer link_body(int index, unsigned short type, unsigned flags, const Buffer& attributes) {
  Buffer out;
  ifinfomsg head{};
  head.ifi_type = type;
  head.ifi_index = index;
  head.ifi_flags = flags;
  append(out, head);
  return out + attributes;
}

/// A controller as a driver of the kernel tells it.
Buffer can_attributes(const std::string& name = "can0") {
  can_bittiming timing{};
  timing.bitrate = 250'000;
  timing.sample_point = 875;
  can_ctrlmode mode{};
  mode.mask = 0xFFFFFFFF;
  mode.flags = CAN_CTRLMODE_LISTENONLY | CAN_CTRLMODE_BERR_REPORTING;
  can_berr_counter counter{};
  counter.txerr = 128;
  counter.rxerr = 97;
  can_device_stats statistics{};
  statistics.bus_error = 11;
  statistics.error_warning = 12;
  statistics.error_passive = 13;
  statistics.bus_off = 14;
  statistics.arbitration_lost = 15;
  statistics.restarts = 16;
  const Buffer data = attribute_of(IFLA_CAN_BITTIMING, timing) + attribute_of(IFLA_CAN_STATE, __u32{CAN_STATE_ERROR_PASSIVE}) +
                      attribute_of(IFLA_CAN_CTRLMODE, mode) + attribute_of(IFLA_CAN_RESTART_MS, __u32{100}) +
                      attribute_of(IFLA_CAN_BERR_COUNTER, counter);
  rtnl_link_stats64 stats{};
  stats.rx_packets = 1'000'001;
  stats.tx_packets = 2'002;
  stats.rx_bytes = 33;
  stats.tx_bytes = 44;
  stats.rx_errors = 55;
  stats.tx_errors = 66;
  stats.rx_dropped = 1;
  stats.tx_dropped = 7'000;
  stats.multicast = 8'000;
  stats.rx_length_errors = 9'000;
  stats.rx_over_errors = 20;
  stats.rx_crc_errors = 10'000;
  stats.rx_frame_errors = 11'000;
  stats.rx_fifo_errors = 300;
  stats.rx_missed_errors = 4'000'000'000;
  stats.tx_aborted_errors = 12'000;
  return text_attribute(IFLA_IFNAME, name) + attribute_of(IFLA_MTU, __u32{16}) + attribute_of(IFLA_STATS64, stats) +
         attribute(IFLA_LINKINFO | NLA_F_NESTED, text_attribute(IFLA_INFO_KIND, "can") + attribute_of(IFLA_INFO_XSTATS, statistics) +
                                                     attribute(IFLA_INFO_DATA | NLA_F_NESTED, data));
}
constexpr unsigned kUpFlags = 0x1 | 0x40 | 0x80 | 0x10000;
Buffer can_message(const std::string& name = "can0") {
  return message(RTM_NEWLINK, link_body(7, 280, kUpFlags, can_attributes(name)));
}

/// From a copy of exactly this size, so that a byte too far is seen.
std::vector<LinkInfo> parse(const Buffer& bytes, bool* done = nullptr) {
  const std::unique_ptr<std::uint8_t[]> exact(new std::uint8_t[bytes.size()]);
  std::copy(bytes.begin(), bytes.end(), exact.get());
  bool ends = false;
  auto links = parse_links({exact.get(), bytes.size()}, ends);
  if (done) *done = ends;
  return links;
}

}  // namespace

TEST_CASE("Everything that the kernel tells of a CAN controller") {
  const auto links = parse(can_message());
  REQUIRE(links.size() == 1);
  const LinkInfo& link = links[0];
  CHECK(link.index == 7);
  CHECK(link.name == "can0");
  CHECK(link.kind == "can");
  CHECK(link.is_can);
  CHECK_FALSE(link.removed);
  CHECK(link.up);
  CHECK(link.carrier);
  CHECK(link.bitrate == 250'000u);
  CHECK(link.state == CanState::passive);
  CHECK(link.listen_only == true);
  CHECK(link.error_reporting == true);
  CHECK(link.restart_ms == 100u);
  CHECK(link.transmit_errors == 128);
  CHECK(link.receive_errors == 97);
  CHECK(link.received == 1'000'001);
  CHECK(link.sent == 2'002);
  CHECK(link.receive_failures == 55);
  CHECK(link.interface_dropped == 4'000'000'321);
  CHECK(link.bus_offs == 14);
  CHECK(link.restarts == 16);
}

TEST_CASE("A virtual interface, one that is down, one that goes, and one that is no CAN") {
  const Buffer virtual_can = text_attribute(IFLA_IFNAME, "vcan0") + attribute(IFLA_LINKINFO, text_attribute(IFLA_INFO_KIND, "vcan"));
  const Buffer ethernet = text_attribute(IFLA_IFNAME, "eth0");
  bool done = true;
  const auto links = parse(message(RTM_NEWLINK, link_body(3, 280, 0x1 | 0x10000, virtual_can)) +
                               message(RTM_NEWLINK, link_body(4, 280, 0, can_attributes("can1"))) +
                               message(RTM_DELLINK, link_body(5, 280, 0, can_attributes("can2"))) +
                               message(RTM_NEWLINK, link_body(2, 1, kUpFlags, ethernet)),
                           &done);
  REQUIRE(links.size() == 4);
  CHECK_FALSE(done);
  CHECK(links[0].name == "vcan0");
  CHECK(links[0].kind == "vcan");
  CHECK(links[0].is_can);
  CHECK_FALSE(links[0].bitrate);
  CHECK_FALSE(links[0].state);
  CHECK_FALSE(links[1].up);
  CHECK_FALSE(links[1].carrier);
  CHECK(links[1].name == "can1");
  CHECK(links[2].removed);
  CHECK_FALSE(links[3].is_can);
  CHECK(links[3].name == "eth0");
}

TEST_CASE("The end of a dump, errors and foreign messages") {
  bool done = false;
  CHECK(parse(message(NLMSG_DONE, Buffer(4, 0)), &done).empty());
  CHECK(done);
  nlmsgerr error{};
  error.error = -16;
  Buffer body;
  append(body, error);
  CHECK(parse(message(NLMSG_ERROR, body), &done).empty());
  CHECK(done);
  CHECK(parse(message(RTM_NEWADDR, Buffer(40, 7)), &done).empty());
  CHECK_FALSE(done);
  CHECK(parse(message(RTM_NEWADDR, Buffer(40, 7)) + can_message() + message(NLMSG_DONE, Buffer(4, 0)), &done).size() == 1);
  CHECK(done);
  CHECK(parse({}, &done).empty());
}

TEST_CASE("A bit rate that is not set, and a state that no kernel has yet, are told as none") {
  can_bittiming timing{};
  const Buffer data = attribute_of(IFLA_CAN_BITTIMING, timing) + attribute_of(IFLA_CAN_STATE, __u32{6});
  const auto links = parse(message(
      RTM_NEWLINK, link_body(1, 280, 0, attribute(IFLA_LINKINFO, text_attribute(IFLA_INFO_KIND, "can") + attribute(IFLA_INFO_DATA, data)))));
  REQUIRE(links.size() == 1);
  CHECK_FALSE(links[0].bitrate);
  CHECK_FALSE(links[0].state);
  CHECK_FALSE(links[0].transmit_errors);
  CHECK_FALSE(links[0].restart_ms);
}

TEST_CASE("Every state has its word") {
  const std::pair<unsigned, const char*> words[] = {{CAN_STATE_ERROR_ACTIVE, "error-active"}, {CAN_STATE_ERROR_WARNING, "error warning"},
                                                    {CAN_STATE_ERROR_PASSIVE, "error-passive"}, {CAN_STATE_BUS_OFF, "bus-off"},
                                                    {CAN_STATE_STOPPED, "stopped"}, {CAN_STATE_SLEEPING, "sleeping"}};
  for (const auto& [state, word] : words) CHECK(std::string(can_state_word(static_cast<CanState>(state))) == word);
}

TEST_CASE("Attributes shorter than their kind say nothing, a name without its zero is still one") {
  const Buffer attributes = attribute(IFLA_IFNAME, {'c', 'a', 'n', '3'}) + attribute(IFLA_STATS64, Buffer(16, 1)) +
                            attribute(IFLA_LINKINFO, attribute(IFLA_INFO_KIND, {'c', 'a', 'n'}) +
                                                         attribute(IFLA_INFO_DATA, attribute(IFLA_CAN_BITTIMING, {1, 2}) +
                                                                                       attribute(IFLA_CAN_BERR_COUNTER, {9, 0}) +
                                                                                       attribute(IFLA_CAN_STATE, {})));
  const auto links = parse(message(RTM_NEWLINK, link_body(1, 280, 0, attributes)));
  REQUIRE(links.size() == 1);
  CHECK(links[0].name == "can3");
  CHECK(links[0].kind == "can");
  CHECK_FALSE(links[0].bitrate);
  CHECK_FALSE(links[0].state);
  CHECK_FALSE(links[0].receive_errors);
  CHECK(links[0].interface_dropped == 0);
}

TEST_CASE("A message cut anywhere tells what is whole and nothing else") {
  const Buffer first = can_message("can0"), both = first + can_message("can1");
  for (std::size_t size = 0; size < both.size(); ++size) {
    const auto links = parse(Buffer(both.begin(), both.begin() + static_cast<std::ptrdiff_t>(size)));
    REQUIRE(links.size() == (size < first.size() ? 0u : 1u));
    if (!links.empty()) REQUIRE(links[0].name == "can0");
  }
  // The length is right but the body ends early.
  for (unsigned cut = 4; cut < first.size() - sizeof(nlmsghdr); cut += 4) {
    Buffer shorter(first.begin(), first.end() - cut);
    nlmsghdr head;
    std::memcpy(&head, shorter.data(), sizeof head);
    head.nlmsg_len = static_cast<__u32>(shorter.size());
    std::memcpy(shorter.data(), &head, sizeof head);
    for (const LinkInfo& link : parse(shorter)) CHECK((link.name.empty() || link.name == "can0"));
  }
}

TEST_CASE("Mutated messages end and touch nothing outside") {
  std::mt19937 random(11);
  const Buffer good = can_message("can0") + can_message("can1") + message(NLMSG_DONE, Buffer(4, 0));
  for (int round = 0; round < 50'000; ++round) {
    Buffer bad = good;
    for (unsigned i = 0; i < 1 + random() % 8; ++i) {
      std::uint8_t& byte = bad[random() % bad.size()];
      byte = random() % 3 == 0 ? std::uint8_t{0} : static_cast<std::uint8_t>(random());
    }
    if (random() % 4 == 0) bad.resize(random() % bad.size());
    const auto links = parse(bad);
    REQUIRE(links.size() <= bad.size() / 32);
    for (const LinkInfo& link : links) REQUIRE(link.name.size() < bad.size());
  }
}
