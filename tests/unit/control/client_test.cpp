// The asking end against servers that answer well, badly, or not at all.
#include "control/client.hpp"

#include <sys/socket.h>
#include <sys/un.h>
#include <unistd.h>

#include <algorithm>
#include <catch2/catch.hpp>
#include <cstring>
#include <filesystem>
#include <thread>

#include "control/words.hpp"

using namespace tramlog;
using namespace tramlog::control;
using nlohmann::json;

namespace {

/// Accepts one connection, reads a line, answers with these bytes, closes.
class Server {
 public:
  explicit Server(std::string answer) {
    std::string pattern = (std::filesystem::temp_directory_path() / "control_test_XXXXXX").string();
    folder_ = ::mkdtemp(pattern.data());
    path = folder_ + "/s";
    listening_ = ::socket(AF_UNIX, SOCK_STREAM, 0);
    sockaddr_un address{};
    address.sun_family = AF_UNIX;
    std::memcpy(address.sun_path, path.data(), path.size());
    REQUIRE(::bind(listening_, reinterpret_cast<const sockaddr*>(&address), sizeof address) == 0);
    REQUIRE(::listen(listening_, 4) == 0);
    thread_ = std::thread([this, bytes = std::move(answer)] {
      const int one = ::accept(listening_, nullptr, nullptr);
      if (one < 0) return;
      char byte = 0;
      while (::recv(one, &byte, 1, 0) == 1 && byte != '\n') request += byte;
      std::size_t sent = 0;
      while (sent < bytes.size()) {
        const ssize_t done = ::send(one, bytes.data() + sent, bytes.size() - sent, MSG_NOSIGNAL);
        if (done <= 0) break;
        sent += static_cast<std::size_t>(done);
      }
      ::close(one);
    });
  }
  ~Server() {
    ::shutdown(listening_, SHUT_RDWR);
    thread_.join();
    ::close(listening_);
    std::filesystem::remove_all(folder_);
  }
  std::string path, request;

 private:
  std::string folder_;
  int listening_ = -1;
  std::thread thread_;
};

}  // namespace

TEST_CASE("An answer with and without a body") {
  Server with("{\"ok\":true,\"exit\":1,\"bytes\":5}\nhello and more that is not counted");
  auto answer = ask(with.path, {{"do", "status"}});
  REQUIRE(answer.ok());
  CHECK(answer->body == "hello");
  CHECK(answer->head["exit"] == 1);
  Server without("{\"ok\":true}\n");
  auto empty = ask(without.path, {{"do", "mark"}});
  REQUIRE(empty.ok());
  CHECK(empty->body.empty());
}

TEST_CASE("Answers that are none are errors of the environment and never exceptions") {
  const std::string answers[] = {"", "\n", "{", "[]\n", "null\n", "{}\n", "{\"ok\":false}\n", "{\"ok\":1}\n", "{\"ok\":\"yes\"}\n", "{\"ok\":null}\n",
                                 "{\"ok\":true,\"bytes\":5}\nabc", "{\"ok\":true,\"bytes\":\"5\"}\nhello", "{\"ok\":true,\"bytes\":[]}\n",
                                 "{\"ok\":true,\"bytes\":18446744073709551615}\nx", "\xff\xfe\n", std::string(5 << 20, 'x')};
  for (const std::string& bytes : answers) {
    INFO(bytes.substr(0, 60));
    Server server(bytes);
    CHECK_NOTHROW([&] {
      const auto answer = ask(server.path, {{"do", "status"}}, 5);
      CHECK_FALSE(answer.ok());
      if (!answer.ok()) CHECK(answer.error().kind == ErrorKind::environment);
    }());
  }
}

TEST_CASE("Nobody there, no permission, not a path") {
  const auto nobody = ask("/tmp/there-is-no-such-socket", {});
  REQUIRE_FALSE(nobody.ok());
  CHECK(nobody.error().what == "no recorder is running here");
  for (const std::string& path : {std::string(), std::string(108, 'x'), std::string(5'000, 'y')}) {
    const auto wrong = ask(path, {});
    REQUIRE_FALSE(wrong.ok());
    CHECK(wrong.error().kind == ErrorKind::usage);
  }
  CHECK_FALSE(ask("/etc/hostname", {}).ok());
}

TEST_CASE("A recorder that accepts and says nothing is given up after the patience") {
  std::string pattern = (std::filesystem::temp_directory_path() / "control_test_XXXXXX").string();
  const std::string folder = ::mkdtemp(pattern.data()), path = folder + "/s";
  const int listening = ::socket(AF_UNIX, SOCK_STREAM, 0);
  sockaddr_un address{};
  address.sun_family = AF_UNIX;
  std::memcpy(address.sun_path, path.data(), path.size());
  REQUIRE(::bind(listening, reinterpret_cast<const sockaddr*>(&address), sizeof address) == 0);
  REQUIRE(::listen(listening, 4) == 0);
  const auto begun = std::chrono::steady_clock::now();
  const auto answer = ask(path, {{"do", "status"}}, 1);
  CHECK_FALSE(answer.ok());
  CHECK(std::chrono::steady_clock::now() - begun < std::chrono::seconds(5));
  ::close(listening);
  std::filesystem::remove_all(folder);
}

TEST_CASE("After an accepted follow every byte is the stream's") {
  Server server("{\"ok\":true}\n\nstream\n");
  const auto descriptor = follow(server.path, {{"do", "follow"}});
  REQUIRE(descriptor.ok());
  std::string text;
  char byte = 0;
  while (::read(descriptor.value(), &byte, 1) == 1) text += byte;
  CHECK(text == "\nstream\n");
  ::close(descriptor.value());
  Server no("{\"ok\":false,\"kind\":\"usage\",\"what\":\"w\",\"where\":\"x\",\"remedy\":\"r\"}\n");
  const auto refused = follow(no.path, {{"do", "follow"}});
  REQUIRE_FALSE(refused.ok());
  CHECK(refused.error().what == "w");
}

TEST_CASE("A line is one line of valid UTF-8 whatever is in it") {
  const std::string line = line_of({{"text", "a\nb\xff\xc3"}, {"n", 1}});
  CHECK(std::count(line.begin(), line.end(), '\n') == 1);
  CHECK(line.back() == '\n');
  auto back = parse_line(line.substr(0, line.size() - 1), "here");
  REQUIRE(back.ok());
  CHECK((*back)["text"].get<std::string>().starts_with("a\nb"));
}

TEST_CASE("Refusals carry their error there and back; strange ones become some error") {
  for (const ErrorKind kind : {ErrorKind::usage, ErrorKind::input, ErrorKind::environment}) {
    const Error error = error_of(refusal({kind, "what", "where", "remedy"}), "else");
    CHECK(error.kind == kind);
    CHECK(error.what == "what");
    CHECK(error.where == "where");
    CHECK(error.remedy == "remedy");
  }
  for (const json& strange : {json::object(), json{{"kind", 7}, {"what", json::array()}}, json{{"kind", "cosmic"}}}) {
    const Error error = error_of(strange, "socket");
    CHECK(error.kind == ErrorKind::environment);
    CHECK(error.where == "socket");
    CHECK_FALSE(error.what.empty());
  }
}
