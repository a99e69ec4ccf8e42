#include "wire/service_tool.hpp"

#include <linux/can.h>
#include <linux/can/j1939.h>
#include <sys/socket.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <cstring>
#include <utility>

#include "wire/open_transfers.hpp"

namespace tramlog {
namespace {

constexpr SpanNs kLookAgain = 20 * kMillisecond;
constexpr SpanNs kEchoPatience = kSecond;          // until a frame of ours must have been on the bus
constexpr SpanNs kTransferPatience = 3 * kSecond;  // for an open transfer, before the address is given back

/// The kernel's own transport for our NAME: bound, it acknowledges what is sent to us as soon as it has seen
/// our claim.
Result<int> open_transport(const std::string& interface, int index, Name name) {
  const int fd = ::socket(PF_CAN, SOCK_DGRAM | SOCK_NONBLOCK | SOCK_CLOEXEC, CAN_J1939);
  if (fd < 0) {
    const int code = errno;
    if (code == EPROTONOSUPPORT || code == EAFNOSUPPORT)
      return Error{ErrorKind::environment, "this kernel cannot receive long answers: it has no j1939 sockets",
                   interface, "load the kernel's module can-j1939 (modprobe can-j1939)"};
    return Error{ErrorKind::environment, std::string("cannot open a j1939 socket: ") + std::strerror(code),
                 interface, "check the permission to use CAN sockets"};
  }
  sockaddr_can address{};
  address.can_family = AF_CAN;
  address.can_ifindex = index;
  address.can_addr.j1939.name = name.raw();
  address.can_addr.j1939.addr = J1939_NO_ADDR;
  address.can_addr.j1939.pgn = J1939_NO_PGN;
  if (::bind(fd, reinterpret_cast<const sockaddr*>(&address), sizeof address) != 0) {
    const int code = errno;
    ::close(fd);
    return Error{ErrorKind::environment,
                 std::string("the kernel's j1939 refuses the interface: ") + std::strerror(code), interface,
                 "check that the interface is up"};
  }
  return fd;
}

}  // namespace

struct ServiceTool::Impl {
  Impl(ServiceToolOptions given, SpeakingSocket opened, Name name, int transport_socket)
      : options(std::move(given)),
        socket(std::move(opened)),
        machine(name, options.random_byte),
        transport(transport_socket) {}
  Impl(const Impl&) = delete;
  Impl& operator=(const Impl&) = delete;
  ~Impl() {
    if (transport >= 0) ::close(transport);
  }

  ServiceToolOptions options;
  SpeakingSocket socket;
  ClaimMachine machine;
  OpenTransfers transfers;
  int transport;
  std::optional<Error> failure;
  std::optional<TimeNs> unheard_since;                    // of the first frame sent whose echo has not come
  bool on_the_bus = true;                                 // false: a frame of ours was never heard
  std::function<std::optional<std::string>()> may_go_on;  // while claiming
  std::string stopped_by;

  void drain_transport() {
    // The frames themselves come through the other socket; this one only must not fill up.
    std::uint8_t some[2048];
    while (::recv(transport, some, sizeof some, MSG_DONTWAIT | MSG_TRUNC) >= 0) {
    }
  }

  bool send(const OutFrame& out) {
    Event frame;
    frame.id = out.id;
    frame.len = out.len;
    frame.data = out.data.data();
    frame.flags = kExtendedId;
    if (!unheard_since) unheard_since = running_time();
    failure = socket.send_patiently(frame);
    return !failure;
  }

  /// False if sending failed or a reason came up.
  bool send_waiting() {
    for (const OutFrame& frame : machine.take_frames()) {
      if (may_go_on && stopped_by.empty()) {
        if (auto reason = may_go_on()) stopped_by = std::move(*reason);
      }
      if (!stopped_by.empty()) return false;
      if (!send(frame)) return false;
    }
    return true;
  }

  bool read(const std::function<void(const Event&)>& each) {
    drain_transport();
    failure = socket.read([&](const Event& event, bool echo) {
      if (options.on_event) options.on_event(event);
      if (event.kind == EventKind::frame) transfers.hear(event);
      if (echo) {
        unheard_since.reset();
        on_the_bus = true;
        return;
      }
      machine.hear(event);
      if (each) each(event);
    });
    return !failure;
  }

  /// Takes back what was begun.
  Error give_up(Error error) {
    may_go_on = {};
    machine.take_frames();
    machine.give_back();
    stopped_by.clear();
    for (const OutFrame& frame : machine.take_frames()) {
      if (!send(frame)) break;
    }
    return error;
  }
};

ServiceTool::ServiceTool(std::unique_ptr<Impl> impl) : impl_(std::move(impl)) {}
ServiceTool::ServiceTool(ServiceTool&&) noexcept = default;
ServiceTool::~ServiceTool() {
  if (impl_) give_back();
}
const ClaimMachine& ServiceTool::claims() const {
  return impl_->machine;
}
const std::optional<Error>& ServiceTool::failure() const {
  return impl_->failure;
}
bool ServiceTool::reaches_the_bus() const {
  return impl_->on_the_bus;
}

Result<ServiceTool> ServiceTool::open(ServiceToolOptions options) {
  if (!options.random_byte) options.random_byte = [] { return std::uint8_t{128}; };
  auto socket = SpeakingSocket::open(options.interface);
  if (!socket) return socket.error();
  const Name name = service_tool_name(options.manufacturer_code, options.identity_number);
  auto transport = open_transport(options.interface, socket->index(), name);
  if (!transport) return transport.error();
  return ServiceTool(std::make_unique<Impl>(std::move(options), std::move(*socket), name, *transport));
}

ServiceTool::Run ServiceTool::run(TimeNs until, const std::function<bool()>& done,
                                  const std::function<void(const Event&)>& each) {
  Impl& own = *impl_;
  for (;;) {
    const TimeNs now = running_time();
    own.machine.advance(now);
    if (!own.send_waiting()) return Run::failed;
    if (own.unheard_since && span_between(*own.unheard_since, now) > kEchoPatience) own.on_the_bus = false;
    if (done && done()) return Run::done;
    if (now >= until) return Run::time_is_up;
    TimeNs wake = std::min(until, own.machine.next_deadline().value_or(until));
    if (done) wake = std::min(wake, later_by(now, kLookAgain));
    if (own.unheard_since)
      wake = std::min(wake, std::max(later_by(*own.unheard_since, kEchoPatience), later_by(now, kLookAgain)));
    if (!wait_for(own.socket.descriptor(), own.transport, wake, own.options.stop)) return Run::stopped;
    if (!own.read(each)) return Run::failed;
  }
}

Result<Address> ServiceTool::claim(const std::function<std::optional<std::string>()>& may_go_on) {
  Impl& own = *impl_;
  const std::string& interface = own.options.interface;
  if (holds()) return address();
  own.may_go_on = may_go_on;
  own.machine.start(running_time());
  const auto settled = [&] {
    const ClaimState state = own.machine.state();
    return (state == ClaimState::holding && !own.unheard_since) || state == ClaimState::refused ||
           !own.on_the_bus;
  };
  // Each lost contest takes a quarter of a second more; a bus where that never ends has no address for us.
  const Run ended = run(running_time() + 30 * kSecond, settled);
  own.may_go_on = {};
  if (ended == Run::failed && !own.stopped_by.empty())
    return own.give_up({ErrorKind::environment, "nothing more was sent: " + own.stopped_by, interface,
                        "ask again when the machine stands still and the bus is quiet"});
  if (ended == Run::failed) return *own.failure;
  if (ended == Run::stopped)
    return own.give_up({ErrorKind::environment, "stopped while claiming an address", interface, "ask again"});
  if (holds() && own.on_the_bus) return address();
  if (!own.on_the_bus)
    return own.give_up(
        {ErrorKind::environment, "our own frames do not get onto the bus", interface,
         "check that the interface is not listen-only or bus-off, its bit rate, and the cable"});
  const std::string why =
      own.machine.reason().empty() ? "another unit contends each one" : own.machine.reason();
  return own.give_up({ErrorKind::environment, "cannot claim an address: " + why, interface,
                      "ask again with fewer service tools on the bus, or with another identity number"});
}

std::optional<Error> ServiceTool::request(Pgn pgn, Address destination) {
  if (!holds())
    return Error{ErrorKind::environment, "no address of our own to ask from", impl_->options.interface,
                 "claim one first"};
  if (!impl_->send(request_frame(pgn, address(), destination))) return impl_->failure;
  return std::nullopt;
}

void ServiceTool::give_back() {
  Impl& own = *impl_;
  const ClaimState state = own.machine.state();
  if (state != ClaimState::claiming && state != ClaimState::holding) return;
  // Whoever interrupts wants it soon, but not at the price of a unit that waits for our acknowledgement.
  const StopFlag* stop = std::exchange(own.options.stop, nullptr);
  const Address mine = address();
  if (!own.failure)
    run(running_time() + kTransferPatience, [&] { return !own.transfers.involves(mine, running_time()); });
  own.machine.give_back();
  if (!own.failure) own.send_waiting();
  if (!own.failure) run(running_time() + 200 * kMillisecond, [&] { return !own.unheard_since; });
  own.options.stop = stop;
}

}  // namespace tramlog
