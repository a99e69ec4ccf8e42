// Decides the one order of everything that is heard, and hands it on as blocks: to the disk, the examiner and followers.
#pragma once

#include <array>
#include <functional>
#include <map>
#include <memory>
#include <mutex>
#include <string>
#include <vector>

#include "can/can_id.hpp"
#include "can/event.hpp"
#include "io/block_encoder.hpp"
#include "record/chunk.hpp"

namespace tramlog {

struct ScribeOptions {
  std::uint32_t run = 1;
  std::uint64_t boot = 0;
  SpanNs clock_shift = 0;   // time stamps minus the system's clock
  std::string clock_words;  // why
  std::uint64_t segment_bytes = 64 << 20;
  SpanNs segment_span = 15 * kMinute;
};

/// Used by one thread only, apart from followers.
class Scribe {
 public:
  /// Both queues must outlive it. `disk` may refuse chunks (it is full), `examiner` too (it is behind).
  Scribe(ScribeOptions options, ChunkQueue& disk, ChunkQueue& examiner, TimeNs now);

  /// The number of a bus of this name, from its first sight on. Another bit rate begins a new segment.
  BusIndex bus(const std::string& name, std::uint64_t bitrate);
  /// Times go forward from segment to segment: a stamp before the segment's first is put there.
  void frame(Event event, std::uint64_t lost_before);
  void counters(BusIndex bus, TimeNs time, const Counters& counters);
  void link(BusIndex bus, TimeNs time, LinkState state);
  void note(BusIndex bus, TimeNs time, RecorderNote note);

  /// Hands on what has come together; `now` decides whether a new segment is due.
  void flush(TimeNs now);
  /// The next segment begins with the next flush.
  void begin_new_segment() { new_segment_wanted_ = true; }
  /// The disk could not go on with its file, or lost some of it: a new segment begins, and the examiner begins anew with what is on the disk.
  void start_over() { starting_over_ = true; }
  /// The run ends in good order: link states, the last note, the last chunk.
  void finish(TimeNs now);

  /// The run's number and the boot's, if they were not known at its begin: the next segment has them.
  void set_run(std::uint32_t run, std::uint64_t boot) {
    options_.run = run;
    options_.boot = boot;
  }

  /// Not recorded so far for want of room, in all.
  std::uint64_t not_recorded() const { return not_recorded_; }
  std::uint32_t segment() const { return head_->segment; }

  /// A follower gets the head of a file (section, buses), the latest address claim of every address, so that it knows who is who, and then every chunk; it answers false when it has had
  /// enough or is too slow. Called from the scribe's thread. May be added from any thread.
  using Follower = std::function<bool(const std::uint8_t* bytes, std::size_t size)>;
  void add_follower(Follower follower);

 private:
  struct Bus {
    BusInfo info;
    LinkState link = LinkState::up;
    std::uint64_t lost_unrecorded = 0;  // frames that found no room, to be told with the next one
    std::uint64_t unrecorded = 0;       // in all
    Counters counters;                  // as told last
  };
  void begin_segment(TimeNs now);
  void begin_chunk();
  void hand_on(bool last, TimeNs now);
  TimeNs placed(TimeNs time);
  std::vector<std::uint8_t> file_head() const;
  void remember_claim(const Event& event);

  ScribeOptions options_;
  ChunkQueue& disk_;
  ChunkQueue& examiner_;
  std::vector<Bus> buses_;
  std::shared_ptr<const SegmentHead> head_;
  std::shared_ptr<Chunk> chunk_;
  std::uint64_t segment_bytes_ = 0;
  TimeNs segment_floor_ = INT64_MIN;  // no time in this segment is earlier
  TimeNs latest_ = INT64_MIN;
  bool new_segment_wanted_ = false;
  bool starting_over_ = false;   // the examiner missed something: it begins anew with the next segment
  bool disk_refuses_ = false;
  std::uint64_t not_recorded_ = 0, not_recorded_before_ = 0;
  std::vector<std::uint64_t> chunk_frames_;  // of each bus in the present chunk
  struct Claim {
    TimeNs time = 0;
    std::uint32_t id = 0;
    std::array<std::uint8_t, 8> name{};
  };
  std::map<std::pair<BusIndex, Address>, Claim> claims_;  // at most 254 a bus
  std::mutex followers_mutex_;
  std::vector<Follower> followers_, new_followers_;
};

}  // namespace tramlog
