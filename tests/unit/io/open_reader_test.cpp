#include <fcntl.h>
#include <sys/stat.h>
#include <unistd.h>
#include <zstd.h>

#include <catch2/catch.hpp>
#include <thread>

#include "capture_bytes.hpp"

using namespace tramlog;
using namespace tramlog::test;

namespace {

const BlockBuilder kBlocks;

std::string capture(unsigned packets) {
  std::string bytes = kBlocks.section() + kBlocks.nanosecond_bus("can0");
  for (unsigned i = 0; i < packets; ++i) bytes += kBlocks.packet(kT0 + i, can_packet(0x98FF0001, "12345678"));
  return bytes;
}

std::string pack(const std::string& bytes) {
  std::string out(ZSTD_compressBound(bytes.size()), '\0');
  out.resize(ZSTD_compress(out.data(), out.size(), bytes.data(), bytes.size(), 3));
  return out;
}

Error error_for(const std::string& bytes) {
  const TemporaryFolder folder;
  auto source = CaptureSource::open({folder.write("input", bytes)});
  REQUIRE_FALSE(source.ok());
  CHECK(source.error().where == folder.path("input"));
  CHECK_FALSE(source.error().remedy.empty());
  return source.error();
}

bool says(const Error& error, const std::string& words) {
  return error.what.find(words) != std::string::npos;
}

/// Runs `body` with standard input coming from a pipe that carries `bytes`.
template <class Body>
void with_standard_input(const std::string& bytes, Body body) {
  int ends[2];
  REQUIRE(::pipe(ends) == 0);
  const int saved = ::dup(STDIN_FILENO);
  REQUIRE(::dup2(ends[0], STDIN_FILENO) == STDIN_FILENO);
  ::close(ends[0]);
  std::thread writer([&bytes, end = ends[1]] {
    for (std::size_t at = 0; at < bytes.size();) {
      const ssize_t count = ::write(end, bytes.data() + at, std::min<std::size_t>(bytes.size() - at, 3001));
      if (count <= 0) break;
      at += static_cast<std::size_t>(count);
    }
    ::close(end);
  });
  body();
  ::dup2(saved, STDIN_FILENO);
  ::close(saved);
  writer.join();
}

}  // namespace

TEST_CASE("files that are no captures say what they are") {
  CHECK(says(error_for(""), "empty file"));
  CHECK(says(error_for("\xFF\xD8\xFF\xE0" + std::string(500, 'j')), "JPEG"));
  CHECK(says(error_for(std::string("\x1F\x8B\x08\0", 4) + std::string(500, 'z')), "gzip"));
  CHECK(says(error_for(std::string("\xFD"
                                   "7zXZ\0",
                                   6) +
                       std::string(500, 'z')),
             "xz"));
  CHECK(says(error_for("BZh91AY" + std::string(500, 'z')), "bzip2"));
  CHECK(says(error_for("(1436509052.249713) can0 18FEF100#FF\n"), "text"));
  CHECK(says(error_for(std::string(5000, '\0')), "zeros"));
  CHECK(says(error_for(std::string(3000, '\x9D')), "format is not known"));
  CHECK(says(error_for(pack("nothing of interest in here, just words")), "unpacked content"));
  CHECK(says(error_for(pack("")), "nothing is in it"));
  for (const std::string& bytes : {std::string("x"), std::string(3000, '\x9D'), std::string()})
    CHECK(error_for(bytes).kind == ErrorKind::input);
}

TEST_CASE("captures of other link types say which") {
  const std::string ethernet =
      kBlocks.section() + kBlocks.interface("", 1) + kBlocks.packet(5, std::string(60, 'e'));
  CHECK(says(error_for(ethernet), "link type 1 (Ethernet)"));
  CHECK(says(error_for(kBlocks.section() + kBlocks.interface("", 9999)), "link type 9999"));
  CHECK(says(error_for(pcap_header(false, false, 1)), "link type 1 (Ethernet)"));
  CHECK(
      says(error_for(pcap_header(true, false, 190) + pcap_record(true, 5, 5, "abcdefgh")), "link type 190"));
}

TEST_CASE("cut inside the header") {
  const std::string whole = capture(1);
  for (std::size_t size = 1; size < 28; ++size) {
    CAPTURE(size);
    CHECK(says(error_for(whole.substr(0, size)), size < 4 ? "too short" : "ends inside its header"));
  }
  for (std::size_t size = 4; size < 24; ++size)
    CHECK(says(error_for(pcap_header(true, true).substr(0, size)), "ends inside its header"));
}

TEST_CASE("names that cannot be opened") {
  const TemporaryFolder folder;
  const auto missing = CaptureSource::open({folder.path("nothing")});
  REQUIRE_FALSE(missing.ok());
  CHECK(missing.error().kind == ErrorKind::input);
  CHECK(says(missing.error(), "no such file"));
  const auto directory = CaptureSource::open({folder.path("")});
  REQUIRE_FALSE(directory.ok());
  CHECK(directory.error().kind == ErrorKind::input);
  CHECK(says(directory.error(), "directory"));
  const auto none = CaptureSource::open({});
  REQUIRE_FALSE(none.ok());
  CHECK(none.error().kind == ErrorKind::usage);
  const std::string locked = folder.write("locked", capture(1));
  REQUIRE(::chmod(locked.c_str(), 0) == 0);
  if (::geteuid() != 0) {  // root may read everything
    const auto refused = CaptureSource::open({locked});
    REQUIRE_FALSE(refused.ok());
    CHECK(refused.error().kind == ErrorKind::environment);
  }
}

TEST_CASE("the same capture twice is a mistake of the caller") {
  const TemporaryFolder folder;
  const std::string path = folder.write("a.pcapng", capture(2));
  REQUIRE(::symlink(path.c_str(), folder.path("b.pcapng").c_str()) == 0);
  for (const auto& paths : {std::vector{path, path}, std::vector{path, folder.path("b.pcapng")},
                            std::vector<std::string>{"-", "-"}}) {
    if (paths[0] == "-") {
      with_standard_input(capture(1), [&] {
        const auto source = CaptureSource::open(paths);
        REQUIRE_FALSE(source.ok());
        CHECK(source.error().kind == ErrorKind::usage);
      });
      continue;
    }
    const auto source = CaptureSource::open(paths);
    REQUIRE_FALSE(source.ok());
    CHECK(source.error().kind == ErrorKind::usage);
  }
}

TEST_CASE("a capture without packets is one") {
  const TemporaryFolder folder;
  for (const std::string& bytes :
       {kBlocks.section(), kBlocks.section() + kBlocks.nanosecond_bus("can0"), pcap_header(false, true)}) {
    auto source = CaptureSource::open({folder.write("a", bytes)});
    REQUIRE(source.ok());
    CHECK(read_source(*source).packets().empty());
    CHECK(source->files()[0].packets == 0);
    CHECK(source->files()[0].damaged_bytes == 0);
  }
}

TEST_CASE("a damaged head does not hide what the file is") {
  const TemporaryFolder folder;
  const std::string whole = capture(20);
  for (std::size_t at = 0; at < 28; ++at) {
    std::string hit = whole;
    hit[at] = static_cast<char>(~hit[at]);
    auto source = CaptureSource::open({folder.write("a", hit)});
    CAPTURE(at);
    REQUIRE(source.ok());
    CHECK(read_source(*source).packets().size() == 20);
  }
  const std::string classic =
      pcap_header(false, false) + pcap_record(false, 1'700'000'000, 1, can_packet(1, "abc"));
  for (std::size_t at = 0; at < 20; ++at) {
    std::string hit = classic;
    hit[at] = static_cast<char>(~hit[at]);
    auto source = CaptureSource::open({folder.write("b", hit)});
    CAPTURE(at);
    REQUIRE(source.ok());
    const Seen seen = read_source(*source);
    CHECK(seen.packets().size() == 1);
    CHECK(seen.notices<Damage>().size() == (at < 4 ? 1 : 0));
  }
}

TEST_CASE("file, compressed file, pipe and compressed pipe say the same") {
  const TemporaryFolder folder;
  const std::string whole = capture(30'000);
  auto plain = CaptureSource::open({folder.write("a.pcapng", whole)});
  REQUIRE(plain.ok());
  const Seen expected = read_source(*plain);
  const std::string fingerprint = plain->files()[0].fingerprint;
  CHECK(expected.packets().size() == 30'000);
  CHECK(fingerprint.size() == 16);
  auto packed = CaptureSource::open({folder.write("a.zst", pack(whole))});
  REQUIRE(packed.ok());
  CHECK(read_source(*packed).packets().size() == 30'000);
  CHECK(packed->files()[0].fingerprint == fingerprint);
  for (const std::string& bytes : {whole, pack(whole)})
    with_standard_input(bytes, [&] {
      auto pipe = CaptureSource::open({"-"});
      REQUIRE(pipe.ok());
      CHECK(read_source(*pipe).packets().size() == 30'000);
      CHECK(pipe->files()[0].fingerprint == fingerprint);
      CHECK(pipe->files()[0].name == "-");
    });
}

TEST_CASE("the fingerprint sees every part of a packet") {
  const auto of = [](std::uint64_t ticks, std::uint32_t word, const std::string& payload, int len,
                     std::uint32_t direction) {
    return read_bytes(
               kBlocks.section() + kBlocks.nanosecond_bus("x") +
               kBlocks.packet(ticks, can_packet(word, payload, len), 0, kBlocks.option_of(2, direction)))
        .tally.fingerprint.text();
  };
  const std::string base = of(5, 0x98FF0001, "12345678", -1, 1);
  CHECK(of(5, 0x98FF0001, "12345678", -1, 1) == base);
  CHECK(of(6, 0x98FF0001, "12345678", -1, 1) != base);
  CHECK(of(5, 0x98FF0002, "12345678", -1, 1) != base);
  CHECK(of(5, 0x18FF0001, "12345678", -1, 1) != base);
  CHECK(of(5, 0x98FF0001, "12345679", -1, 1) != base);
  CHECK(of(5, 0x98FF0001, "12345678", 7, 1) != base);
  CHECK(of(5, 0x98FF0001, "12345678", -1, 2) != base);
  CHECK(of(5, 0x98FF0001, "1234567", -1, 1) == of(5, 0x98FF0001, "12345678", 7, 1));
}
