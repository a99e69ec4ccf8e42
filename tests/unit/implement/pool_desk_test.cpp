#include "implement/pool_desk.hpp"

#include <catch2/catch.hpp>

#include "unit/implement/dialogue_bench.hpp"

using namespace tramlog;
using namespace tramlog::test;
using Catch::Matchers::Contains;

namespace {

ImplementRecord concluded(DialogueBench& bench) {
  ImplementRecord record;
  bench.desk.conclude(record);
  return record;
}

KnownPool known(const std::string& boom, PoolSource source = PoolSource::library,
                std::optional<Name> name = Name(DialogueBench::kName)) {
  return {name, DialogueBench::pool(true, boom),
          source == PoolSource::given ? "--device-description drill.ddop" : "pool library", source};
}

}  // namespace

TEST_CASE("an upload in two parts", "[pool-desk]") {
  const PoolData all = DialogueBench::pool();
  for (const std::size_t counted : {std::size_t{0}, std::size_t{2}}) {  // with the command bytes
    DialogueBench bench;
    bench.begin();
    bench.versions(4, 4);
    bench.announce(all.size() + counted);
    // Between two objects: behind the device.
    const std::size_t cut = PoolWriter().device("Drill", 0, {}, true).size();
    bench.part({all.begin(), all.begin() + static_cast<std::ptrdiff_t>(cut)});
    bench.part_received(cut);
    bench.part({all.begin() + static_cast<std::ptrdiff_t>(cut), all.end()});
    bench.part_received(all.size() - cut);
    bench.activate();
    bench.pass(20);
    const ImplementRecord record = concluded(bench);
    CHECK(record.pool_bytes == all);
    CHECK(record.pool.elements.size() == 5);
    CHECK(record.source == PoolSource::uploaded);
    CHECK_THAT(record.source_words, Contains("uploaded"));
    CHECK(record.activated);
    REQUIRE(record.structure);
    CHECK(label_words(*record.structure) == "\"DRILL01\"");
    REQUIRE(record.localization);
    CHECK((*record.localization)[0] == 'e');
    CHECK(bench.attention().empty());
  }
}

TEST_CASE("less than was announced", "[pool-desk]") {
  const PoolData all = DialogueBench::pool();
  DialogueBench bench;
  bench.begin();
  bench.announce(all.size() + 100);
  bench.part(all);
  bench.part_received(all.size());
  bench.activate();
  bench.pass(20);
  CHECK(bench.attention() == std::vector<std::string>{"device.pool-broken"});
  CHECK_THAT(bench.line("device.pool-broken").text,
             Contains(std::to_string(all.size() + 100) + " bytes were announced"));
}

TEST_CASE("not heard whole is the recorder's matter", "[pool-desk]") {
  const PoolData all = DialogueBench::pool();
  SECTION("no byte of it") {
    DialogueBench bench;
    bench.begin();
    bench.announce(all.size());
    bench.link.on_blind(bench.time(0.5), bench.time(3));
    bench.part_received(all.size());
    bench.activate();
    bench.pass(20);
    CHECK(bench.attention().empty());
    CHECK(bench.verdict("device.pool-broken") == Verdict::not_shown);
    CHECK(bench.device.pool.empty());
  }
  SECTION("the second part of two") {
    DialogueBench bench;
    bench.begin();
    bench.announce(all.size());
    bench.part({all.begin(), all.end() - 30});
    TransferEnd end;
    end.outcome = TransferOutcome::unseen;
    end.start = bench.time(bench.now());
    end.first_frame = 999;
    bench.link.on_transfer_failed(end, true);
    bench.activate();
    bench.pass(20);
    CHECK(bench.attention().empty());
    CHECK(bench.verdict("device.pool-broken") == Verdict::not_shown);
    CHECK_FALSE(bench.device.pool.empty());
    CHECK_FALSE(bench.desk.dependable());
  }
}

TEST_CASE("a part whose transfer failed after its last packet comes again", "[pool-desk]") {
  const PoolData all = DialogueBench::pool();
  DialogueBench bench;
  bench.begin();
  bench.part(all);
  TransferEnd end;
  end.outcome = TransferOutcome::timed_out;
  end.start = bench.time(0);
  end.first_frame = bench.frame();  // of that part
  bench.link.on_transfer_failed(end, true);
  bench.part(all);
  bench.part_received(all.size());
  bench.activate();
  bench.pass(20);
  CHECK(concluded(bench).pool_bytes == all);
  CHECK(bench.attention().empty());
}

TEST_CASE("a given-up upload leaves nothing behind", "[pool-desk]") {
  const PoolData all = DialogueBench::pool();
  DialogueBench bench;
  bench.begin();
  bench.announce(all.size());
  bench.part({all.begin(), all.begin() + 60});
  bench.pass(5);
  bench.announce(all.size());
  bench.part(all);
  bench.part_received(all.size());
  bench.activate();
  bench.pass(20);
  CHECK(concluded(bench).pool_bytes == all);
  CHECK(bench.attention().empty());
}

TEST_CASE("broken bytes are told with their place", "[pool-desk]") {
  PoolData all = DialogueBench::pool();
  const std::size_t place = all.size();
  all.insert(all.end(), {'D', 'P', 'X', 1, 2, 3});
  DialogueBench bench;
  bench.begin();
  bench.upload(all);
  bench.activate();
  bench.pass(20);
  CHECK(bench.attention() == std::vector<std::string>{"device.pool-broken"});
  CHECK_THAT(bench.line("device.pool-broken").text, Contains("byte " + std::to_string(place)));
}

TEST_CASE("another NAME in the description is a note", "[pool-desk]") {
  DialogueBench bench;
  bench.desk.set_claimed(Name(0xA00C80000B200999));
  bench.connect();
  bench.pass(20);
  CHECK(bench.attention().empty());
  const CheckLine& line = bench.line("device.pool-broken");
  CHECK_THAT(line.text, Contains("address claim says"));
}

TEST_CASE("an update of the texts keeps the rest", "[pool-desk]") {
  DialogueBench bench;
  bench.connect();
  bench.pass(10);
  const std::size_t before = bench.desk.changes();
  const PoolData texts =
      PoolWriter().device("Saemaschine", 0, {}, true).presentation(40, 0, 0.01F, 1, "kg je ha").data();
  bench.upload(texts);
  bench.activate();
  bench.pass(20);
  CHECK(bench.desk.changes() > before);
  const ImplementRecord record = concluded(bench);
  CHECK(record.pool.device->designator == "Saemaschine");
  CHECK(record.pool.elements.size() == 5);
  REQUIRE(record.pool.presentations.size() == 1);
  CHECK(record.pool.presentations[0].unit == "kg je ha");
  CHECK_THAT(record.source_words, Contains("texts updated"));
  CHECK(record.pool_bytes == DialogueBench::pool());
  CHECK(bench.attention().empty());
}

TEST_CASE("the same upload to a second partner changes nothing", "[pool-desk]") {
  DialogueBench bench;
  bench.connect();
  const std::size_t once = bench.desk.changes();
  bench.upload(DialogueBench::pool());
  bench.activate();
  CHECK(bench.desk.changes() == once);
  bench.client_says({0xC1, 12, 0, 3, 'B', 'i', 'n', 0xFF});
  CHECK(bench.desk.changes() == once + 1);
  CHECK(bench.device.pool.element_words(4) == "Bin");
  // Now it brings the old text back.
  bench.upload(DialogueBench::pool());
  CHECK(bench.device.pool.element_words(4) == "seed bin");
}

TEST_CASE("uploads to two partners at a time do not mix", "[pool-desk]") {
  const PoolData all = DialogueBench::pool();
  DialogueBench bench;
  Dialogue logger(bench.device, bench.desk, 2, 0xF6, true);
  bench.begin();
  bench.announce(all.size());
  bench.part({all.begin(), all.begin() + 50});
  Message message;
  std::vector<std::uint8_t> other = {0x61};
  other.insert(other.end(), all.begin(), all.end());
  message.data = other;
  message.start = message.end = bench.time(1);
  message.first_frame = 500;
  logger.on_message(message, true);
  bench.part({all.begin() + 50, all.end()});
  bench.part_received(all.size() - 50);
  bench.activate();
  CHECK(concluded(bench).pool_bytes == all);
}

TEST_CASE("known pools: the newest of that NAME, by its label where that is told", "[pool-desk]") {
  PoolData other_label = DialogueBench::pool(true, "other");
  const std::string label = "DRILL01";
  const auto at = std::search(other_label.begin(), other_label.end(), label.begin(), label.end());
  REQUIRE(at != other_label.end());
  *at = 'X';
  const KnownPool stranger = known("stranger", PoolSource::library, Name(0xA00C80000B200999));
  const KnownPool renewed = {Name(DialogueBench::kName), other_label, "pool library", PoolSource::library};
  const KnownPools pools = {known("old"), known("new"), renewed, stranger};

  SECTION("activated out of the task controller's memory") {
    DialogueBench bench(pools);
    bench.begin();
    bench.labels(true);
    bench.localization(0);
    bench.activate();
    CHECK(bench.device.pool.element_words(1) == "new");
    CHECK_THAT(concluded(bench).source_words, Contains("by NAME and structure label"));
    CHECK(bench.desk.dependable());
  }
  SECTION("without a start-up in the recording") {
    DialogueBench bench(pools);
    bench.tell(4, 7, 1);
    CHECK(bench.device.pool.element_words(1) == "other");
    const ImplementRecord record = concluded(bench);
    CHECK(record.source == PoolSource::library);
    CHECK_THAT(record.source_words, Contains("by NAME alone"));
    CHECK_FALSE(record.activated);
    CHECK_FALSE(bench.desk.dependable());
    // A later start-up tells which one it is.
    bench.begin();
    bench.labels(true);
    bench.activate();
    CHECK(bench.device.pool.element_words(1) == "new");
  }
  SECTION("\"the latest\": what the task controller holds") {
    DialogueBench bench(pools);
    bench.begin();
    bench.client_says({0x01, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF});
    bench.server_says({0x11, 'D', 'R', 'I', 'L', 'L', '0', '1'});
    bench.activate();
    CHECK(bench.device.pool.element_words(1) == "new");
  }
  SECTION("given by hand before the library") {
    KnownPools more = pools;
    more.insert(more.begin(), known("given", PoolSource::given));
    DialogueBench bench(more);
    bench.tell(4, 7, 1);
    CHECK(bench.device.pool.element_words(1) == "given");
    CHECK(concluded(bench).source == PoolSource::given);
  }
  SECTION("nobody of that NAME") {
    DialogueBench bench(pools);
    bench.desk.set_claimed(Name(0xA00C80000B200777));
    bench.tell(4, 7, 1);
    CHECK(bench.device.pool.empty());
  }
  SECTION("an upload counts more") {
    DialogueBench bench(pools);
    bench.tell(4, 7, 1);
    bench.connect();
    CHECK(bench.device.pool.element_words(1) == "boom");
    CHECK(concluded(bench).source == PoolSource::uploaded);
  }
}

TEST_CASE("without an address claim only a given pool that has what the client tells", "[pool-desk]") {
  const KnownPools pools = {known("library"), known("given", PoolSource::given)};
  const MachineState machine;
  Device device(Schema::built_in(), SeedingLimits::built_in(), machine);
  PoolDesk desk(device, pools);
  desk.on_traffic({DialogueBench::kStart, 1}, {4, 999});
  CHECK(device.pool.empty());
  desk.on_traffic({DialogueBench::kStart, 2}, {4, 7});
  CHECK(device.pool.element_words(1) == "given");
  ImplementRecord record;
  desk.conclude(record);
  CHECK_THAT(record.source_words, Contains("no address claim was heard"));
}

TEST_CASE("an upload keeps its bounds", "[pool-desk]") {
  const PoolData large(200'000, 0x44);
  PoolUpload upload;
  upload.on_announced(6 * 200'000);
  for (int i = 0; i < 6; ++i) upload.on_part(large, {i, static_cast<std::uint64_t>(i + 1)});
  CHECK(upload.collected() == 5 * large.size());  // kMaxPoolBytes, and no more
  CHECK(upload.unheard());
  CHECK_FALSE(upload.complete());
  CHECK(upload.mismatch().empty());
}

TEST_CASE("parts that are announced one by one", "[pool-desk]") {
  const PoolData all = DialogueBench::pool();
  const std::size_t cut = PoolWriter().device("Drill", 0, {}, true).size();
  DialogueBench bench;
  bench.begin();
  bench.upload({all.begin(), all.begin() + static_cast<std::ptrdiff_t>(cut)});
  bench.upload({all.begin() + static_cast<std::ptrdiff_t>(cut), all.end()});
  bench.activate();
  CHECK(concluded(bench).pool_bytes == all);
  CHECK(bench.attention().empty());
  // Announced again because nothing was answered: not a second part.
  DialogueBench again;
  again.begin();
  again.announce(all.size());
  again.part(all);
  again.pass(10);
  again.upload(all);
  again.activate();
  CHECK(concluded(again).pool_bytes == all);
}

TEST_CASE("hostile uploads and designators cost no more than they send", "[pool-desk]") {
  // Announced byte by byte behind a large beginning, the whole would be read for each byte.
  DialogueBench bench;
  bench.begin();
  PoolData large = DialogueBench::pool();
  large.resize(500'000, 0x44);
  bench.upload(large);
  const std::size_t before = bench.desk.changes();
  for (int i = 0; i < 2000; ++i) bench.upload({0x44});
  // 8 MiB at first and 16 for each byte of half a megabyte: 33 readings at most.
  CHECK(bench.desk.changes() - before < 40);
  CHECK(bench.desk.changes() > before);

  DialogueBench names;
  names.connect();
  const std::size_t once = names.desk.changes();
  for (int i = 0; i < 2000; ++i)
    names.client_says({0xC1, 12, 0, static_cast<std::uint8_t>('a' + i % 2), 'x', 0xFF, 0xFF, 0xFF});
  CHECK(names.desk.changes() - once == PoolDesk::kMaxDesignatorChanges);
}

TEST_CASE("an upload that was not heard may be known from elsewhere", "[pool-desk]") {
  DialogueBench bench({known("library")});
  bench.begin();
  bench.labels(false);
  bench.announce(DialogueBench::pool().size());
  bench.part_received(DialogueBench::pool().size());
  bench.activate();
  CHECK(bench.device.pool.element_words(1) == "library");
  CHECK_THAT(concluded(bench).source_words, Contains("by NAME and structure label"));
  CHECK(bench.verdict("device.pool-broken") == Verdict::pass);
}
