#include <zstd.h>

#include <catch2/catch.hpp>

#include "capture_bytes.hpp"
#include "io/zstd_source.hpp"

using namespace tramlog;
using namespace tramlog::test;

namespace {

std::string compressed(const std::string& bytes, int window_log = 0) {
  ZSTD_CCtx* context = ZSTD_createCCtx();
  ZSTD_CCtx_setParameter(context, ZSTD_c_checksumFlag, 1);
  if (window_log != 0) {
    ZSTD_CCtx_setParameter(context, ZSTD_c_windowLog, window_log);
    ZSTD_CCtx_setParameter(context, ZSTD_c_contentSizeFlag, 0);
  }
  std::string out(ZSTD_compressBound(bytes.size()), '\0');
  ZSTD_outBuffer output{out.data(), out.size(), 0};
  ZSTD_inBuffer input{bytes.data(), bytes.size(), 0};
  if (window_log != 0) ZSTD_compressStream2(context, &output, &input, ZSTD_e_continue);  // hides the size
  ZSTD_compressStream2(context, &output, &input, ZSTD_e_end);
  ZSTD_freeCCtx(context);
  out.resize(output.pos);
  return out;
}

struct Unpacked {
  std::string bytes;
  std::vector<std::string> gaps;
};

Unpacked unpack(const std::string& bytes, std::size_t step = 0, std::size_t room = 4096) {
  ZstdSource source(std::make_unique<MemorySource>(as_bytes(bytes), step));
  Unpacked result;
  std::vector<std::uint8_t> buffer(room);
  for (;;) {
    const auto chunk = source.read(buffer.data(), buffer.size());
    if (chunk.status == ByteSource::Status::end) return result;
    if (chunk.status == ByteSource::Status::gap)
      result.gaps.push_back(source.gap().reason);
    else
      result.bytes.append(reinterpret_cast<const char*>(buffer.data()), chunk.size);
  }
}

std::string varied(std::size_t size, std::uint32_t seed) {
  std::string text(size, '\0');
  for (char& byte : text)
    byte = static_cast<char>('a' + ((seed = seed * 1'664'525 + 1'013'904'223) >> 24) % 20);
  return text;
}

const std::string kSkippable = std::string("\x53\x2A\x4D\x18\x05\0\0\0hello", 13);

}  // namespace

TEST_CASE("frames one after the other, skippable ones between, however they arrive") {
  const std::string a = varied(300'000, 1), b = varied(10, 2), c = varied(900'000, 3);
  const std::size_t step = GENERATE(std::size_t{0}, std::size_t{1000}, std::size_t{1});
  const std::size_t room = step == 1 ? 100'000 : GENERATE(std::size_t{100}, std::size_t{1'000'000});
  const Unpacked got =
      unpack(kSkippable + compressed(a) + compressed(b) + kSkippable + compressed(c), step, room);
  CHECK(got.gaps.empty());
  CHECK(got.bytes == a + b + c);
}

TEST_CASE("recognised by its magic numbers") {
  CHECK(ZstdSource::begins(as_bytes(compressed("abc"))));
  CHECK(ZstdSource::begins(as_bytes(kSkippable)));
  CHECK_FALSE(ZstdSource::begins(as_bytes("abc")));
  CHECK_FALSE(ZstdSource::begins(as_bytes("\x0A\x0D\x0D\x0A more")));
}

TEST_CASE("cut in the middle of a frame: what was whole comes out, then the gap") {
  const std::string a = varied(1'000'000, 1);
  const std::string packed = compressed(a);
  const Unpacked got = unpack(compressed(varied(1000, 2)) + packed.substr(0, packed.size() / 2));
  REQUIRE(got.gaps.size() == 1);
  CHECK(got.gaps[0].find("the file ends inside a Zstandard frame") == 0);
  CHECK(got.bytes.size() > 1000 + 250'000);
  CHECK(got.bytes.substr(1000) == a.substr(0, got.bytes.size() - 1000));
}

TEST_CASE("a damaged frame does not take the next one with it") {
  const std::string a = varied(400'000, 1), b = varied(5'000, 2), c = varied(100'000, 3);
  const std::string pa = compressed(a), pb = compressed(b), pc = compressed(c);
  for (std::size_t at = 0; at < pb.size(); at += 1 + at / 16) {
    std::string hit = pb;
    hit[at] = static_cast<char>(~hit[at]);
    const Unpacked got = unpack(pa + hit + pc);
    CAPTURE(at);
    CHECK(got.bytes.substr(0, a.size()) == a);
    REQUIRE(got.bytes.size() >= a.size() + c.size());
    CHECK(got.bytes.substr(got.bytes.size() - c.size()) == c);
    if (got.bytes != a + b + c) CHECK(got.gaps.size() >= 1);
  }
}

TEST_CASE("garbage and zeros behind the last frame are told once") {
  const std::string a = varied(1'000, 1);
  for (const std::string& tail :
       {std::string(1'000'000, '\0'), varied(700'000, 5), std::string("\x28\xB5")}) {
    const Unpacked got = unpack(compressed(a) + tail);
    CHECK(got.bytes == a);
    CHECK(got.gaps.size() == 1);
  }
}

TEST_CASE("a window beyond 128 MiB is refused") {
  const Unpacked got = unpack(compressed(varied(1000, 1), 28) + compressed("after"));
  CHECK(got.bytes == "after");
  REQUIRE(got.gaps.size() == 1);
  CHECK(got.gaps[0].find("memory") != std::string::npos);
  CHECK(unpack(compressed(varied(1000, 1), 27)).gaps.empty());
}

TEST_CASE("a capture with a damaged frame in the middle") {
  const BlockBuilder b;
  const auto packets = [&b](unsigned from, unsigned count) {
    std::string bytes;
    for (unsigned i = from; i < from + count; ++i)
      bytes += b.packet(kT0 + i, can_packet(0x98FF0000 + i, "12345678"));
    return bytes;
  };
  const std::string head = compressed(b.section() + b.nanosecond_bus("can0") + packets(0, 100));
  std::string middle = compressed(packets(100, 100));
  middle[middle.size() / 2] = static_cast<char>(~middle[middle.size() / 2]);
  const TemporaryFolder folder;
  auto source =
      CaptureSource::open({folder.write("a.pcapng.zst", head + middle + compressed(packets(200, 100)))});
  REQUIRE(source.ok());
  const Seen seen = read_source(*source);
  std::vector<bool> found(300, false);
  for (const SeenEvent& packet : seen.packets())
    if (packet.data == "12345678" && packet.event.id - 0x18FF0000 < 300)
      found[packet.event.id - 0x18FF0000] = true;
  for (std::size_t i = 0; i < 100; ++i) CHECK((found[i] && found[200 + i]));
  const auto damage = seen.notices<Damage>();
  REQUIRE_FALSE(damage.empty());
  CHECK(damage.back().reason.find("Zstandard frame") != std::string::npos);
  CHECK(damage.back().kind == Damage::Kind::doubtful);  // it unpacks, and its checksum does not hold
  CHECK(source->files()[0].read_error);
}

TEST_CASE("a checksum that does not hold loses nothing, and throws doubt on what was read") {
  const BlockBuilder b;
  std::string bytes = b.section() + b.nanosecond_bus("can0");
  for (unsigned i = 0; i < 50; ++i)
    bytes += b.packet(static_cast<std::uint64_t>(kT0) + i * 1000, can_packet(0x98FF0080, "12345678"));
  TempFolder folder;
  std::string file = compressed(bytes);
  file.back() = static_cast<char>(file.back() ^ 4);  // the checksum itself: no byte of the content is lost
  auto source = CaptureSource::open({folder.write("doubt.pcapng.zst", file)});
  REQUIRE(source);
  const Seen seen = read_source(source.value());
  CHECK(seen.packets().size() == 50);
  const auto damage = seen.notices<Damage>();
  REQUIRE(damage.size() == 1);
  CHECK(damage[0].kind == Damage::Kind::doubtful);
  CHECK(damage[0].bytes == 0);
}

TEST_CASE("a compressed file that is cut off breaks off where its last whole block was") {
  const BlockBuilder b;
  std::string bytes = b.section() + b.nanosecond_bus("can0");
  for (unsigned i = 0; i < 20'000; ++i)
    bytes += b.packet(static_cast<std::uint64_t>(kT0) + i * 1000, can_packet(0x98FF0080, varied(8, i)));
  TempFolder folder;
  const std::string file = compressed(bytes);
  auto source = CaptureSource::open({folder.write("cut.pcapng.zst", file.substr(0, file.size() / 2))});
  REQUIRE(source);
  const Seen seen = read_source(source.value());
  const auto damage = seen.notices<Damage>();
  REQUIRE(damage.size() == 1);
  CHECK(damage[0].kind == Damage::Kind::breaks_off);
  TimeNs last = 0, told = 0;
  for (const SeenEvent& one : seen.events) {
    if (one.is_packet()) last = one.event.time;
    if (one.as<Damage>() != nullptr) told = one.event.time;
  }
  CHECK(seen.packets().size() > 1000);
  CHECK(told == last);
}
