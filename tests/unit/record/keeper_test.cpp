#include "record/keeper.hpp"

#include <atomic>
#include <chrono>
#include <condition_variable>
#include <mutex>
#include <thread>

#include "record/keep_marks.hpp"
#include "record/segment_index.hpp"
#include "recording.hpp"

using namespace tramlog;
using namespace tramlog::test;
using namespace std::chrono_literals;
using Kind = KeeperNews::Kind;

namespace {

/// Collects what the Keeper tells.
class Ear {
 public:
  std::function<void(KeeperNews)> tell() {
    return [this](KeeperNews news) {
      const std::lock_guard lock(mutex_);
      news_.push_back(std::move(news));
      came_.notify_all();
    };
  }
  std::size_t count(Kind kind) const {
    const std::lock_guard lock(mutex_);
    return count_of(kind);
  }
  /// Waits until there are so many of the kind.
  bool heard(Kind kind, std::size_t many = 1) {
    std::unique_lock lock(mutex_);
    return came_.wait_for(lock, 30s, [&] { return count_of(kind) >= many; });
  }
  std::string text(Kind kind) const {
    const std::lock_guard lock(mutex_);
    for (const KeeperNews& one : news_)
      if (one.kind == kind) return one.text;
    return "";
  }

 private:
  std::size_t count_of(Kind kind) const {
    return static_cast<std::size_t>(
        std::count_if(news_.begin(), news_.end(), [&](const KeeperNews& one) { return one.kind == kind; }));
  }
  mutable std::mutex mutex_;
  std::condition_variable came_;
  std::vector<KeeperNews> news_;
};

template <class F>
bool comes_true(F condition) {
  for (int i = 0; i < 3000; ++i) {
    if (condition()) return true;
    std::this_thread::sleep_for(10ms);
  }
  return false;
}

KeeperOptions plain_only() {
  KeeperOptions options;
  options.compress = false;
  return options;
}

TimeNs at(int minutes) {
  return kStart + minutes * kMinute;
}

}  // namespace

TEST_CASE("What lies there is packed at the start, and each segment when it is closed; the open one is not") {
  const Folder folder;
  Ear ear;
  write_segment(folder.path(name_of(1, 1)), {1, kStart, 3000, true});
  const std::string want = read_back(folder.path(name_of(1, 1))).fingerprint;
  Keeper keeper(folder.path(), {}, ear.tell());
  REQUIRE(ear.heard(Kind::packed));
  CHECK(read_back(folder.path(name_of(1, 1, true))).fingerprint == want);

  const std::string second = folder.path(name_of(2, 1)), third = folder.path(name_of(2, 2, false, at(1)));
  keeper.opened(second, kStart);
  write_segment(second, {2, kStart, 100, false});
  keeper.closed(second);
  keeper.opened(third, at(1));
  write_segment(third, {2, at(1), 100, false});
  REQUIRE(ear.heard(Kind::packed, 2));
  CHECK(comes_true([&] { return keeper.status().waiting == 0; }));
  CHECK(folder.has(name_of(2, 1, true)));
  CHECK(folder.has(name_of(2, 2, false, at(1))));
  const KeeperStatus status = keeper.status();
  CHECK(status.segments == 3);
  CHECK(status.is_protected == 0);
  CHECK(status.free_bytes > 0);
  CHECK(comes_true([&] {
    std::uint64_t bytes = 0;
    for (const std::string& name : folder.names()) bytes += fs::file_size(folder.path(name));
    return keeper.status().bytes == bytes;
  }));
}

TEST_CASE("A lost or wrong index is built anew") {
  const Folder folder;
  for (std::uint32_t i = 1; i <= 3; ++i)
    write_segment(folder.path(name_of(1, i, true)), {1, kStart, 500, false});
  folder.write(name_of(1, 2, true) + ".index", "tramlog.index/1 0000000000000000 0\n");
  folder.write(name_of(1, 3, true), "damaged");
  Ear ear;
  Keeper keeper(folder.path(), {}, ear.tell());
  REQUIRE(ear.heard(Kind::failed));
  CHECK(ear.text(Kind::failed).find(name_of(1, 3, true)) == 0);
  CHECK(read_index(folder.path(name_of(1, 1, true))).ok());
  CHECK(read_index(folder.path(name_of(1, 2, true))).ok());
  std::this_thread::sleep_for(50ms);
  CHECK(ear.count(Kind::failed) == 1);
}

TEST_CASE("The limits hold from the start on and after each segment; all that belongs to a segment goes") {
  const Folder folder;
  Ear ear;
  for (std::uint32_t i = 1; i <= 5; ++i) write_segment(folder.path(name_of(1, i)), {1, kStart, 1000, false});
  const std::uint64_t one = fs::file_size(folder.path(name_of(1, 1)));
  KeeperOptions options = plain_only();
  options.limits.most_bytes = 3 * one;
  Keeper keeper(folder.path(), options, ear.tell());
  REQUIRE(ear.heard(Kind::removed, 2));
  CHECK(folder.names() == std::vector<std::string>{name_of(1, 3), name_of(1, 4), name_of(1, 5)});

  const std::string next = folder.path(name_of(2, 1));
  keeper.opened(next, kStart);
  write_segment(next, {2, kStart, 1000, false});
  keeper.closed(next);
  REQUIRE(ear.heard(Kind::removed, 3));
  CHECK(folder.names() == std::vector<std::string>{name_of(1, 4), name_of(1, 5), name_of(2, 1)});

  // Packed ones with an index: nothing is left of those that go.
  options.compress = true;
  keeper.set_options(options);
  REQUIRE(ear.heard(Kind::packed, 3));
  options.limits.most_bytes = 1;
  keeper.set_options(options);
  REQUIRE(ear.heard(Kind::removed, 6));
  CHECK(folder.names().empty());
}

TEST_CASE("Protected ones stay, and that limits cannot be held is told once") {
  const Folder folder;
  Ear ear;
  for (std::uint32_t i = 1; i <= 3; ++i) write_segment(folder.path(name_of(1, i)), {1, kStart, 1000, false});
  folder.write(name_of(1, 2) + ".keep", "by hand\n");
  KeeperOptions options = plain_only();
  options.limits.most_bytes = 1;
  Keeper keeper(folder.path(), options, ear.tell());
  REQUIRE(ear.heard(Kind::removed, 2));
  REQUIRE(ear.heard(Kind::limits_not_held));
  CHECK(folder.names() == std::vector<std::string>{name_of(1, 2), name_of(1, 2) + ".keep"});
  CHECK(keeper.status().is_protected == 1);
  keeper.set_options(options);
  CHECK_FALSE(keeper.make_room());
  // The keep file taken away by hand: it may go.
  fs::remove(folder.path(name_of(1, 2) + ".keep"));
  keeper.set_options(options);
  REQUIRE(ear.heard(Kind::limits_held));
  CHECK(comes_true([&] { return folder.names().empty(); }));
  CHECK(ear.count(Kind::limits_not_held) == 1);
}

TEST_CASE("Protection marks what overlaps, past, present and to come, of this run only") {
  const Folder folder;
  Ear ear;
  write_segment(folder.path(name_of(1, 1)), {1, kStart, 10, false});
  std::vector<std::string> names;
  const auto begin = [&](Keeper& keeper, std::uint32_t segment, int minute) {
    names.push_back(name_of(2, segment, false, at(minute)));
    if (segment > 1) keeper.closed(folder.path(names[segment - 2]));
    keeper.opened(folder.path(names.back()), at(minute));
    write_segment(folder.path(names.back()), {2, at(minute), 10, false});
  };
  {
    Keeper keeper(folder.path(), {}, ear.tell());
    begin(keeper, 1, 0);
    begin(keeper, 2, 10);
    begin(keeper, 3, 20);
    // From within the second to the middle of the fourth.
    keeper.protect(at(15), at(35), "fault");
    begin(keeper, 4, 30);
    begin(keeper, 5, 40);
    // The end of a segment is the beginning of the next, and does not belong to it.
    keeper.protect(at(10), at(10), "mark");
    CHECK(comes_true([&] { return keeper.status().is_protected == 3; }));
    keeper.closed(folder.path(names[4]));
    REQUIRE(ear.heard(Kind::packed, 6));
    keeper.protect(at(50), at(60), "at the very end");
  }
  // The last one was written by the destructor.
  const auto kept = [&](int i) { return folder.has(names[static_cast<std::size_t>(i)] + ".keep"); };
  CHECK_FALSE(folder.has(name_of(1, 1) + ".keep"));
  CHECK_FALSE(kept(0));
  CHECK(kept(1));
  CHECK(kept(2));
  CHECK(kept(3));
  CHECK(kept(4));
  CHECK(keep_lines(folder.path(), {2, 2, at(10), false}).size() == 2);
  CHECK(keep_lines(folder.path(), {2, 5, at(40), true}) ==
        std::vector<std::string>{
            "2026-11-26T04:05:00.000000000Z 2026-11-26T04:15:00.000000000Z at the very end"});
  // The next one removes what is not protected, packed or not.
  Ear other;
  KeeperOptions options;
  options.limits.most_bytes = 1;
  Keeper keeper(folder.path(), options, other.tell());
  REQUIRE(other.heard(Kind::removed, 2));
  REQUIRE(other.heard(Kind::limits_not_held));
  CHECK(keeper.status().segments == 4);
}

TEST_CASE("A full disk: the oldest that may go goes at once") {
  const Folder folder;
  Ear ear;
  for (std::uint32_t i = 1; i <= 3; ++i) write_segment(folder.path(name_of(1, i)), {1, kStart, 10, false});
  folder.write(name_of(1, 1) + ".keep", "");
  Keeper keeper(folder.path(), plain_only(), ear.tell());
  const std::string open = folder.path(name_of(2, 1));
  keeper.opened(open, kStart);
  write_segment(open, {2, kStart, 10, false});
  CHECK(keeper.make_room());
  CHECK_FALSE(folder.has(name_of(1, 2)));
  CHECK(folder.has(name_of(1, 3)));
  CHECK(keeper.make_room());
  CHECK_FALSE(folder.has(name_of(1, 3)));
  CHECK_FALSE(keeper.make_room());
  CHECK(folder.has(name_of(1, 1)));
  CHECK(folder.has(name_of(2, 1)));
  REQUIRE(ear.heard(Kind::removed, 2));
  CHECK(ear.text(Kind::removed).find(name_of(1, 2)) == 0);
}

TEST_CASE("Age is counted in the capture's time") {
  const Folder folder;
  Ear ear;
  write_segment(folder.path(name_of(1, 1)), {1, kStart, 10, false});
  KeeperOptions options = plain_only();
  options.limits.most_age = kHour;
  Keeper keeper(folder.path(), options, ear.tell());
  std::this_thread::sleep_for(50ms);
  CHECK(folder.has(name_of(1, 1)));  // whatever this machine's clock says
  const std::string next = folder.path(name_of(2, 1, false, at(62)));
  keeper.opened(next, at(62));
  write_segment(next, {2, at(62), 10, false});
  keeper.closed(next);
  REQUIRE(ear.heard(Kind::removed));
  CHECK(folder.names() == std::vector<std::string>{name_of(2, 1, false, at(62))});
}

TEST_CASE("Stops at once in the middle of packing, and nothing half is left") {
  const Folder folder;
  Ear ear;
  write_segment(folder.path(name_of(1, 1)), {1, kStart, 400'000, false});
  const std::string packed_part = name_of(1, 1, true) + ".part";
  std::chrono::steady_clock::duration took{};
  {
    auto keeper = std::make_unique<Keeper>(folder.path(), KeeperOptions{}, ear.tell());
    REQUIRE(comes_true([&] { return folder.has(packed_part); }));
    // All that could go is being packed: giving that up makes room.
    CHECK(keeper->make_room());
    CHECK_FALSE(folder.has(packed_part));
    const auto begun = std::chrono::steady_clock::now();
    keeper.reset();
    took = std::chrono::steady_clock::now() - begun;
  }
  CHECK(took < 2s);
  CHECK(folder.names() == std::vector<std::string>{name_of(1, 1)});
  CHECK(ear.count(Kind::failed) == 0);
}

TEST_CASE("Packing, protecting, room and status from many threads") {
  const Folder folder;
  Ear ear;
  {
    Keeper keeper(folder.path(), {}, ear.tell());
    std::atomic<bool> done{false}, too_many{false};
    std::thread room([&] {
      while (!done) {
        keeper.make_room();
        std::this_thread::sleep_for(7ms);
      }
    });
    std::thread looker([&] {
      while (!done) {
        if (keeper.status().segments > 60) too_many = true;
        keeper.protect(at(20), at(25), "again");
        std::this_thread::sleep_for(3ms);
      }
    });
    for (std::uint32_t i = 1; i <= 60; ++i) {
      const std::string path = folder.path(name_of(1, i, false, at(static_cast<int>(i))));
      keeper.opened(path, at(static_cast<int>(i)));
      write_segment(path, {1, at(static_cast<int>(i)), 50, false});
      keeper.closed(path);
      std::this_thread::sleep_for(2ms);
    }
    std::this_thread::sleep_for(100ms);
    done = true;
    room.join();
    looker.join();
    CHECK_FALSE(too_many);
  }
  CHECK(ear.count(Kind::failed) == 0);
  // The protected ones are all there and whole.
  for (int i = 20; i <= 25; ++i) {
    const auto segment = static_cast<std::uint32_t>(i);
    const bool packed = folder.has(name_of(1, segment, true, at(i)));
    CHECK(packed != folder.has(name_of(1, segment, false, at(i))));
    CHECK(read_back(folder.path(name_of(1, segment, packed, at(i)))).packets == 50);
    CHECK(folder.has(name_of(1, segment, false, at(i)) + ".keep"));
  }
  for (const std::string& name : folder.names()) CHECK(name.find(".part") == std::string::npos);
}
