#include "daemon/control_server.hpp"

#include <fcntl.h>
#include <grp.h>
#include <sys/socket.h>
#include <sys/stat.h>
#include <sys/un.h>
#include <unistd.h>

#include <boost/asio/local/stream_protocol.hpp>
#include <boost/asio/read_until.hpp>
#include <boost/asio/steady_timer.hpp>
#include <boost/asio/streambuf.hpp>
#include <boost/asio/write.hpp>
#include <cerrno>
#include <cstring>
#include <istream>

#include "control/words.hpp"

namespace tramlog {
namespace {

namespace asio = boost::asio;
using Protocol = asio::local::stream_protocol;

constexpr std::size_t kMostConnections = 32;
constexpr auto kPatience = std::chrono::seconds(10);  // for a request to arrive
constexpr auto kTaking = std::chrono::seconds(10);    // for an answer to be taken

/// One request and its answer.
class Session : public std::enable_shared_from_this<Session> {
 public:
  Session(Protocol::socket socket, std::shared_ptr<const ControlServer::Hooks> hooks, std::shared_ptr<std::size_t> count)
      : socket_(std::move(socket)), timer_(socket_.get_executor()), hooks_(std::move(hooks)), count_(std::move(count)), input_(control::kMostRequestBytes) {
    ++*count_;
  }
  ~Session() { --*count_; }

  void start() {
    limit(kPatience);
    asio::async_read_until(socket_, input_, '\n', [self = shared_from_this()](const boost::system::error_code& error, std::size_t) {
      if (!error) self->take();
    });
  }

 private:
  void take() {
    timer_.cancel();
    std::istream stream(&input_);
    std::string line;
    std::getline(stream, line);
    auto request = control::parse_line(line, "control socket");
    if (!request) return give({control::refusal(request.error()), ""});
    const auto wish = request->find("do");
    if (wish != request->end() && wish->is_string() && *wish == "follow") return follow();
    hooks_->answer(*request, [self = shared_from_this()](ControlAnswer answer) { self->give(std::move(answer)); });
  }

  /// Whoever does not go on in this time is let go: there is room for so many only.
  void limit(std::chrono::seconds patience) {
    timer_.expires_after(patience);
    timer_.async_wait([self = weak_from_this()](const boost::system::error_code& error) {
      if (error) return;
      if (const auto session = self.lock()) session->socket_.close();
    });
  }

  void give(ControlAnswer answer) {
    limit(kTaking);
    answer.head["bytes"] = answer.body.size();
    output_ = control::line_of(answer.head) + answer.body;
    asio::async_write(socket_, asio::buffer(output_), [self = shared_from_this()](const boost::system::error_code&, std::size_t) {});
  }

  void follow() {
    nlohmann::json head = hooks_->before_follow ? hooks_->before_follow() : nlohmann::json::object();
    head["ok"] = true;
    output_ = control::line_of(head);
    asio::async_write(socket_, asio::buffer(output_), [self = shared_from_this()](const boost::system::error_code& error, std::size_t) {
      if (error) return;
      const int descriptor = ::fcntl(self->socket_.native_handle(), F_DUPFD_CLOEXEC, 3);
      if (descriptor >= 0) self->hooks_->follow(descriptor);
    });
  }

  Protocol::socket socket_;
  asio::steady_timer timer_;
  std::shared_ptr<const ControlServer::Hooks> hooks_;
  std::shared_ptr<std::size_t> count_;
  asio::streambuf input_;
  std::string output_;
};

}  // namespace

class ControlServer::Impl : public std::enable_shared_from_this<Impl> {
 public:
  Impl(asio::io_context& context, Hooks hooks) : acceptor_(context), pause_(context), hooks_(std::make_shared<const Hooks>(std::move(hooks))) {}

  std::optional<Error> listen(const std::string& path, const std::string& group) {
    const auto failed = [&](const std::string& what) {
      return Error{ErrorKind::environment, what, path, "check [control] in the configuration, and the folder's permissions"};
    };
    sockaddr_un address{};
    if (path.size() >= sizeof address.sun_path) return failed("the socket's path is longer than 107 bytes");
    boost::system::error_code error;
    Protocol::socket probe(acceptor_.get_executor());
    probe.connect(Protocol::endpoint(path), error);
    if (!error)
      return Error{ErrorKind::environment, "another recorder answers on this socket", path, "stop it, or choose another [control] socket"};
    struct stat state {};
    if (::lstat(path.c_str(), &state) == 0) {
      if (!S_ISSOCK(state.st_mode)) return failed("something that is no socket has this name");
      ::unlink(path.c_str());
    }
    acceptor_.open(Protocol(), error);
    if (!error) {
      const mode_t before = ::umask(0117);  // from the first moment on only owner and group
      acceptor_.bind(Protocol::endpoint(path), error);
      ::umask(before);
    }
    if (!error) acceptor_.listen(16, error);
    if (error) return failed("cannot make the control socket: " + error.message());
    path_ = path;
    if (!group.empty()) {
      const ::group* entry = ::getgrnam(group.c_str());
      if (entry == nullptr) return failed("there is no group \"" + group + "\"");
      if (::chown(path.c_str(), static_cast<uid_t>(-1), entry->gr_gid) != 0)
        return failed("cannot give the socket to group \"" + group + "\": " + std::strerror(errno));
    }
    accept();
    return std::nullopt;
  }

  void close() {
    boost::system::error_code ignored;
    acceptor_.close(ignored);
    pause_.cancel();
    if (!path_.empty()) ::unlink(path_.c_str());
    path_.clear();
  }

 private:
  void accept() {
    acceptor_.async_accept([self = shared_from_this()](const boost::system::error_code& error, Protocol::socket socket) {
      if (error == asio::error::operation_aborted) return;
      // One connection too many is closed at once; the others go on.
      if (!error && *self->count_ < kMostConnections)
        std::make_shared<Session>(std::move(socket), self->hooks_, self->count_)->start();
      if (!self->acceptor_.is_open()) return;
      if (!error) return self->accept();
      // Out of descriptors, say: a moment later there may be some.
      self->pause_.expires_after(std::chrono::milliseconds(100));
      self->pause_.async_wait([self](const boost::system::error_code& cancelled) {
        if (!cancelled && self->acceptor_.is_open()) self->accept();
      });
    });
  }

  Protocol::acceptor acceptor_;
  asio::steady_timer pause_;
  std::shared_ptr<const Hooks> hooks_;
  std::string path_;
  std::shared_ptr<std::size_t> count_ = std::make_shared<std::size_t>(0);
};

ControlServer::ControlServer(asio::io_context& context, Hooks hooks) : impl_(std::make_shared<Impl>(context, std::move(hooks))) {}
ControlServer::~ControlServer() { impl_->close(); }
std::optional<Error> ControlServer::listen(const std::string& path, const std::string& group) { return impl_->listen(path, group); }
void ControlServer::close() { impl_->close(); }

}  // namespace tramlog
