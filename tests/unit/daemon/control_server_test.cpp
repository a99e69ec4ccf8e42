// The control socket: well-behaved clients, rude ones, many of them, and followers.
#include "daemon/control_server.hpp"

#include <fcntl.h>
#include <sys/socket.h>
#include <sys/stat.h>
#include <sys/un.h>

#include <boost/asio/executor_work_guard.hpp>
#include <boost/asio/post.hpp>
#include <boost/asio/steady_timer.hpp>
#include <cstring>
#include <future>

#include "control/client.hpp"
#include "control/words.hpp"
#include "daemon/follower.hpp"
#include "unit/daemon/scribe_bench.hpp"
#include "unit/exam/survives.hpp"

using namespace tramlog;
using namespace tramlog::test;
using nlohmann::json;

namespace {

/// A server on a loop of its own.
struct Served {
  Served() : server(std::make_unique<ControlServer>(context, hooks())) {
    error = server->listen(socket, "");
    thread = std::thread([this] { context.run(); });
  }
  ~Served() {
    boost::asio::post(context, [this] { server.reset(); });
    guard.reset();
    boost::asio::post(context, [this] { context.stop(); });
    thread.join();
  }
  ControlServer::Hooks hooks() {
    ControlServer::Hooks hooks;
    hooks.answer = [this](const json& request, GiveAnswer give) {
      ++asked;
      const std::string wish = request.contains("do") && request["do"].is_string() ? request["do"].get<std::string>() : "";
      if (wish == "echo") return give({{{"ok", true}}, request["text"].get<std::string>()});
      if (wish == "large") return give({{{"ok", true}}, std::string(request["size"].get<std::size_t>(), 'L')});
      if (wish == "later") {
        auto timer = std::make_shared<boost::asio::steady_timer>(context, 200ms);
        timer->async_wait([timer, give](const boost::system::error_code&) { give({{{"ok", true}}, "late"}); });
        return;
      }
      give({control::refusal({ErrorKind::usage, "unknown", "here", "ask otherwise"}), ""});
    };
    hooks.follow = [this](int descriptor) {
      const std::lock_guard lock(mutex);
      followers.push_back(std::make_unique<SocketFollower>(descriptor));
    };
    return hooks;
  }
  /// As the scribe does it.
  std::size_t tell(const std::string& bytes) {
    const std::lock_guard lock(mutex);
    std::erase_if(followers, [&](auto& one) { return !one->take(reinterpret_cast<const std::uint8_t*>(bytes.data()), bytes.size()); });
    return followers.size();
  }
  std::size_t following() {
    const std::lock_guard lock(mutex);
    return followers.size();
  }
  bool alive() {
    auto answer = control::ask(socket, {{"do", "echo"}, {"text", "still here"}}, 5);
    return answer.ok() && answer->body == "still here";
  }

  Folder folder;
  std::string socket = folder.path("control");
  boost::asio::io_context context{1};
  boost::asio::executor_work_guard<boost::asio::io_context::executor_type> guard{context.get_executor()};
  std::unique_ptr<ControlServer> server;
  std::optional<Error> error;
  std::atomic<int> asked{0};
  std::mutex mutex;
  std::vector<std::unique_ptr<SocketFollower>> followers;
  std::thread thread;
};

class RawClient {
 public:
  explicit RawClient(const std::string& path) : descriptor_(::socket(AF_UNIX, SOCK_STREAM | SOCK_CLOEXEC, 0)) {
    sockaddr_un address{};
    address.sun_family = AF_UNIX;
    std::memcpy(address.sun_path, path.data(), path.size());
    connected = ::connect(descriptor_, reinterpret_cast<const sockaddr*>(&address), sizeof address) == 0;
    const timeval patience{15, 0};
    ::setsockopt(descriptor_, SOL_SOCKET, SO_RCVTIMEO, &patience, sizeof patience);
    ::setsockopt(descriptor_, SOL_SOCKET, SO_SNDTIMEO, &patience, sizeof patience);
  }
  RawClient(const RawClient&) = delete;
  RawClient& operator=(const RawClient&) = delete;
  ~RawClient() { close(); }
  void close() {
    if (descriptor_ >= 0) ::close(descriptor_);
    descriptor_ = -1;
  }
  bool send(const std::string& text) {
    for (std::size_t done = 0; done < text.size();) {
      const ssize_t sent = ::send(descriptor_, text.data() + done, text.size() - done, MSG_NOSIGNAL);
      if (sent <= 0) return false;
      done += static_cast<std::size_t>(sent);
    }
    return true;
  }
  std::string read_all() {
    std::string text;
    char buffer[65536];
    for (ssize_t got = 0; (got = ::recv(descriptor_, buffer, sizeof buffer, 0)) > 0;) text.append(buffer, static_cast<std::size_t>(got));
    ended_well = errno != EAGAIN;
    return text;
  }
  std::string read_some(std::size_t size) {
    std::string text(size, '\0');
    const ssize_t got = ::recv(descriptor_, text.data(), size, MSG_WAITALL);
    text.resize(got > 0 ? static_cast<std::size_t>(got) : 0);
    return text;
  }
  bool connected = false, ended_well = false;

 private:
  int descriptor_;
};

ControlServer::Hooks idle_hooks() {
  ControlServer::Hooks hooks;
  hooks.answer = [](const json&, GiveAnswer) {};
  hooks.follow = [](int) {};
  return hooks;
}

std::size_t open_descriptors() {
  std::size_t count = 0;
  for ([[maybe_unused]] const auto& entry : fs::directory_iterator("/proc/self/fd")) ++count;
  return count;
}

template <class Condition>
bool within(std::chrono::milliseconds patience, Condition condition) {
  for (; patience > 0ms; patience -= 10ms) {
    if (condition()) return true;
    std::this_thread::sleep_for(10ms);
  }
  return condition();
}

}  // namespace

TEST_CASE("Requests and answers, small and large, at once and later") {
  Served served;
  REQUIRE_FALSE(served.error);
  auto answer = control::ask(served.socket, {{"do", "echo"}, {"text", "grüße\n\0x"}});
  REQUIRE(answer.ok());
  CHECK(answer->body == "grüße\n");
  CHECK(answer->head["bytes"] == 8);
  auto large = control::ask(served.socket, {{"do", "large"}, {"size", 30'000'000}});
  REQUIRE(large.ok());
  CHECK(large->body == std::string(30'000'000, 'L'));
  auto late = control::ask(served.socket, {{"do", "later"}});
  REQUIRE(late.ok());
  CHECK(late->body == "late");
  auto refused = control::ask(served.socket, {{"do", "fly"}});
  REQUIRE_FALSE(refused.ok());
  CHECK(refused.error().kind == ErrorKind::usage);
  CHECK(refused.error().what == "unknown");
  CHECK(refused.error().where == "here");
  CHECK(refused.error().remedy == "ask otherwise");
}

TEST_CASE("The socket is for owner and group only, and gone after the end") {
  std::string path;
  Folder folder;
  boost::asio::io_context context{1};
  {
    ControlServer server(context, idle_hooks());
    path = folder.path("s");
    const mode_t before = ::umask(0);
    const auto error = server.listen(path, "");
    ::umask(before);
    REQUIRE_FALSE(error);
    struct stat state {};
    REQUIRE(::lstat(path.c_str(), &state) == 0);
    CHECK(S_ISSOCK(state.st_mode));
    CHECK((state.st_mode & 07777) == 0660);
    CHECK(::umask(022) == before);
    ::umask(before);
  }
  CHECK_FALSE(fs::exists(path));
}

TEST_CASE("A socket that was left behind is replaced; one that answers, and what is no socket, are not") {
  Folder folder;
  const std::string path = folder.path("s");
  const int descriptor = ::socket(AF_UNIX, SOCK_STREAM, 0);
  sockaddr_un address{};
  address.sun_family = AF_UNIX;
  std::memcpy(address.sun_path, path.data(), path.size());
  REQUIRE(::bind(descriptor, reinterpret_cast<const sockaddr*>(&address), sizeof address) == 0);
  ::close(descriptor);  // the name stays
  REQUIRE(fs::exists(path));
  boost::asio::io_context context{1};
  const ControlServer::Hooks hooks = idle_hooks();
  ControlServer first(context, hooks);
  REQUIRE_FALSE(first.listen(path, ""));
  {
    ControlServer second(context, hooks);
    const auto error = second.listen(path, "");
    REQUIRE(error);
    CHECK(error->kind == ErrorKind::environment);
    CHECK(error->where == path);
  }
  CHECK(fs::exists(path));  // the refused one has not taken it along
  ControlServer third(context, hooks);
  folder.write("file", "precious");
  REQUIRE(third.listen(folder.path("file"), ""));
  CHECK(folder.read("file") == "precious");
  ControlServer fourth(context, hooks);
  CHECK(fourth.listen(folder.path(std::string(200, 'x')), ""));
  ControlServer fifth(context, hooks);
  CHECK(fifth.listen("/nonexistent/folder/socket", ""));
  ControlServer sixth(context, hooks);
  const auto no_group = sixth.listen(folder.path("g"), "no-such-group-anywhere");
  REQUIRE(no_group);
  CHECK(no_group->what.find("no-such-group-anywhere") != std::string::npos);
}

TEST_CASE("Garbage is refused in words, and nobody else notices") {
  Served served;
  std::mt19937 random(1);
  std::vector<std::string> lines = {"\n", "{}\n", "[]\n", "null\n", "42\n", "\"do\"\n", "{\"do\":\n", "{\"do\":7}\n", "{\"do\":null}\n", "{\"do\":[\"follow\"]}\n",
                                    "{\"do\":\"\xff\xfe\"}\n", "{\"do\":\"follow\",\n", std::string("\0\0\0\n", 4), "GET / HTTP/1.1\r\n\r\n",
                                    "{\"do\":" + std::string(100'000, '[') + std::string(100'000, ']') + "}\n",
                                    "{\"do\":\"" + std::string(100'000, 'x') + "\"}\n"};
  for (int i = 0; i < 100; ++i) {
    std::string line;
    for (auto n = random() % 200; n > 0; --n) line += static_cast<char>(random());
    lines.push_back(line + "\n");
  }
  for (const std::string& line : lines) {
    RawClient client(served.socket);
    REQUIRE(client.send(line));
    const std::string answer = client.read_all();
    INFO(line.substr(0, 40));
    const auto head = json::parse(answer.substr(0, answer.find('\n')), nullptr, false);
    REQUIRE(head.is_object());
    CHECK(head["ok"] == false);
  }
  CHECK(served.alive());
}

TEST_CASE("Half a request holds nobody up and is let go after its time") {
  Served served;
  RawClient half(served.socket);
  REQUIRE(half.send("{\"do\":\"ech"));
  CHECK(served.alive());
  const auto begun = std::chrono::steady_clock::now();
  CHECK(half.read_all().empty());
  CHECK(half.ended_well);
  CHECK(std::chrono::steady_clock::now() - begun < 14s);
  // In pieces it is a request like any other.
  RawClient slow(served.socket);
  for (const char c : std::string("{\"do\":\"echo\",\"text\":\"abc\"}\n")) REQUIRE(slow.send(std::string(1, c)));
  CHECK(slow.read_all().ends_with("\nabc"));
  // Sent and gone.
  for (int i = 0; i < 50; ++i) {
    RawClient gone(served.socket);
    gone.send("{\"do\":\"echo\"");
  }
  CHECK(served.alive());
}

TEST_CASE("A request without an end is cut off, not collected") {
  Served served;
  RawClient client(served.socket);
  const std::string piece(1 << 20, 'x');
  bool cut = false;
  for (int i = 0; i < 64 && !cut; ++i) cut = !client.send(piece);
  CHECK(cut);
  CHECK(served.alive());
}

TEST_CASE("A hundred at once: all get an answer or a clean end, and the socket serves on") {
  Served served;
  std::atomic<int> answered{0}, refused{0};
  std::vector<std::thread> threads;
  for (int i = 0; i < 100; ++i)
    threads.emplace_back([&] {
      auto answer = control::ask(served.socket, {{"do", "later"}}, 20);
      ++(answer.ok() && answer->body == "late" ? answered : refused);
    });
  for (auto& thread : threads) thread.join();
  CHECK(answered >= 32);
  CHECK(answered + refused == 100);
  CHECK(served.alive());
}

TEST_CASE("Connections that come and go leave no descriptor behind") {
  Served served;
  REQUIRE(served.alive());
  const std::size_t before = open_descriptors();
  for (int i = 0; i < 300; ++i) {
    RawClient client(served.socket);
    if (i % 3 == 0) client.send("{\"do\":\"echo\",\"text\":\"x\"}\n");
    if (i % 3 == 1) client.send("nonsense\n");
  }
  REQUIRE(served.alive());
  CHECK(within(3s, [&] { return open_descriptors() <= before + 1; }));
}

TEST_CASE("A client that goes away while the answer is written or made") {
  Served served;
  for (int i = 0; i < 20; ++i) {
    RawClient client(served.socket);
    client.send("{\"do\":\"large\",\"size\":20000000}\n");
    if (i % 2) (void)client.read_some(1'000);
  }
  for (int i = 0; i < 20; ++i) {
    RawClient client(served.socket);
    client.send("{\"do\":\"later\"}\n");
  }
  CHECK(within(5s, [&] { return served.alive(); }));
}

TEST_CASE("Clients that do not read their answers do not lock out all others for ever") {
  Served served;
  std::vector<std::unique_ptr<RawClient>> stopped;
  for (int i = 0; i < 40; ++i) {
    stopped.push_back(std::make_unique<RawClient>(served.socket));
    stopped.back()->send("{\"do\":\"large\",\"size\":20000000}\n");
  }
  CHECK(within(20s, [&] { return served.alive(); }));
}

TEST_CASE("A follower gets everything in order; one that reads nothing is let go, the others go on") {
  Served served;
  const auto good = control::follow(served.socket, {{"do", "follow"}});
  REQUIRE(good.ok());
  const auto lazy = control::follow(served.socket, {{"do", "follow"}});
  REQUIRE(lazy.ok());
  REQUIRE(within(2s, [&] { return served.following() == 2; }));
  constexpr std::size_t kPiece = 100'000, kPieces = 250;  // 25 MB
  auto read = std::async(std::launch::async, [&] {
    std::string text;
    char buffer[65536];
    while (text.size() < kPiece * kPieces) {
      const ssize_t got = ::read(good.value(), buffer, sizeof buffer);
      if (got <= 0) break;
      text.append(buffer, static_cast<std::size_t>(got));
    }
    return text;
  });
  std::string expected;
  std::size_t most = 0, left_at = 0;
  for (std::size_t i = 0; i < kPieces; ++i) {
    std::string piece(kPiece, static_cast<char>('a' + i % 26));
    expected += piece;
    const std::size_t still = served.tell(piece);
    most = std::max(most, still);
    if (still == 1 && left_at == 0) left_at = i * kPiece;
    if (i % 10 == 0) std::this_thread::sleep_for(5ms);
  }
  REQUIRE(read.wait_for(0s) != std::future_status::deferred);
  // What still waits goes out with the next bytes.
  for (int i = 0; i < 200 && read.wait_for(10ms) != std::future_status::ready; ++i) served.tell("");
  CHECK(read.get() == expected);
  CHECK(most == 2);
  CHECK(left_at > 16'000'000);
  CHECK(left_at < 20'000'000);
  CHECK(served.following() == 1);
  // The stream of the one that was let go ends.
  std::string rest;
  char buffer[65536];
  for (ssize_t got = 0; (got = ::read(lazy.value(), buffer, sizeof buffer)) > 0;) rest.append(buffer, static_cast<std::size_t>(got));
  CHECK(expected.starts_with(rest));
  ::close(good.value());
  ::close(lazy.value());
  CHECK(within(2s, [&] { return served.tell("x") == 0; }));
}

TEST_CASE("A server that goes while somebody is still asking") {
  CHECK(survives([] {
    Folder folder;
    boost::asio::io_context context{1};
    ControlServer::Hooks hooks = idle_hooks();
    hooks.answer = [](const json&, GiveAnswer give) { give({{{"ok", true}}, ""}); };
    auto server = std::make_unique<ControlServer>(context, std::move(hooks));
    if (server->listen(folder.path("s"), "")) ::_exit(1);
    RawClient client(folder.path("s"));
    client.send("{\"do\":");
    context.run_for(100ms);
    server.reset();
    client.send("\"status\"}\n");
    context.run_for(100ms);
  }));
}
