#include "control/client.hpp"

#include <sys/socket.h>
#include <sys/time.h>
#include <sys/un.h>
#include <unistd.h>

#include <cerrno>
#include <cstring>

#include "control/words.hpp"

namespace tramlog::control {
namespace {

class Connection {
 public:
  explicit Connection(int descriptor) : descriptor_(descriptor) {}
  Connection(Connection&& other) noexcept : descriptor_(other.descriptor_) { other.descriptor_ = -1; }
  Connection& operator=(Connection&&) = delete;
  ~Connection() {
    if (descriptor_ >= 0) ::close(descriptor_);
  }
  int get() const { return descriptor_; }
  int release() {
    const int descriptor = descriptor_;
    descriptor_ = -1;
    return descriptor;
  }

 private:
  int descriptor_;
};

Error cannot_reach(int code, const std::string& socket) {
  if (code == ENOENT || code == ECONNREFUSED)
    return {ErrorKind::environment, "no recorder is running here", socket, "start tramlogd, or name its socket with --socket"};
  if (code == EACCES || code == EPERM)
    return {ErrorKind::environment, "no permission to ask the recorder", socket,
            "run as root, or as a member of the socket's group (see [control] in tramlogd.toml)"};
  return {ErrorKind::environment, std::string("cannot reach the recorder: ") + std::strerror(code), socket,
          "check that tramlogd is running"};
}

Result<Connection> connect_to(const std::string& socket, unsigned patience_s) {
  sockaddr_un address{};
  address.sun_family = AF_UNIX;
  if (socket.empty() || socket.size() >= sizeof address.sun_path)
    return Error{ErrorKind::usage, "not the path of a socket", socket, "a path of at most 107 bytes"};
  std::memcpy(address.sun_path, socket.data(), socket.size());
  Connection connection(::socket(AF_UNIX, SOCK_STREAM | SOCK_CLOEXEC, 0));
  if (connection.get() < 0) return cannot_reach(errno, socket);
  const timeval patience{static_cast<time_t>(patience_s), 0};
  ::setsockopt(connection.get(), SOL_SOCKET, SO_RCVTIMEO, &patience, sizeof patience);
  ::setsockopt(connection.get(), SOL_SOCKET, SO_SNDTIMEO, &patience, sizeof patience);  // also of connect()
  if (::connect(connection.get(), reinterpret_cast<const sockaddr*>(&address), sizeof address) != 0)
    return cannot_reach(errno, socket);
  return connection;
}

bool send_all(int descriptor, const std::string& text) {
  std::size_t done = 0;
  while (done < text.size()) {
    const ssize_t sent = ::send(descriptor, text.data() + done, text.size() - done, MSG_NOSIGNAL);
    if (sent < 0 && errno == EINTR) continue;
    if (sent <= 0) return false;
    done += static_cast<std::size_t>(sent);
  }
  return true;
}

/// One byte at a time: what follows the line belongs to somebody else.
Result<nlohmann::json> read_line(int descriptor, const std::string& socket) {
  std::string line;
  char byte = 0;
  for (;;) {
    const ssize_t got = ::recv(descriptor, &byte, 1, 0);
    if (got < 0 && errno == EINTR) continue;
    if (got <= 0 || line.size() > kMostRequestBytes)
      return Error{ErrorKind::environment, "the recorder gave no answer", socket, "see its journal; try again"};
    if (byte == '\n') return parse_line(line, socket);
    line += byte;
  }
}

Result<nlohmann::json> begin(int descriptor, const std::string& socket, const nlohmann::json& request) {
  if (!send_all(descriptor, line_of(request)))
    return Error{ErrorKind::environment, "the recorder closed the connection", socket, "see its journal; try again"};
  auto head = read_line(descriptor, socket);
  if (!head) return head.error();
  if (!flag_of(*head, "ok")) return error_of(*head, socket);
  return head;
}

}  // namespace

Result<Answer> ask(const std::string& socket, const nlohmann::json& request, unsigned patience_s) {
  auto connection = connect_to(socket, patience_s);
  if (!connection) return connection.error();
  auto head = begin(connection->get(), socket, request);
  if (!head) return head.error();
  Answer answer;
  answer.head = std::move(*head);
  if (answer.head.contains("bytes") && !answer.head["bytes"].is_number_unsigned())
    return Error{ErrorKind::environment, "the recorder's answer makes no sense", socket, "check that tramlog and tramlogd are of one version"};
  const auto bytes = number_of(answer.head, "bytes");
  char buffer[65536];
  while (answer.body.size() < bytes) {
    const ssize_t got = ::recv(connection->get(), buffer, sizeof buffer, 0);
    if (got < 0 && errno == EINTR) continue;
    if (got <= 0)
      return Error{ErrorKind::environment, "the recorder's answer ended too early", socket, "see its journal; try again"};
    answer.body.append(buffer, static_cast<std::size_t>(got));
  }
  answer.body.resize(bytes);
  return answer;
}

Result<int> follow(const std::string& socket, const nlohmann::json& request, nlohmann::json* head_out) {
  auto connection = connect_to(socket, 10);
  if (!connection) return connection.error();
  auto head = begin(connection->get(), socket, request);
  if (!head) return head.error();
  if (head_out != nullptr) *head_out = *head;
  const timeval forever{};
  ::setsockopt(connection->get(), SOL_SOCKET, SO_RCVTIMEO, &forever, sizeof forever);
  return connection->release();
}

}  // namespace tramlog::control
