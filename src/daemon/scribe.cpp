#include "daemon/scribe.hpp"

#include <algorithm>
#include <chrono>
#include <thread>
#include <utility>

#include "record/segment_name.hpp"

namespace tramlog {
namespace {
constexpr std::chrono::milliseconds kCatchUp{3000}, kShortPause{20};
}  // namespace

Scribe::Scribe(ScribeOptions options, ChunkQueue& disk, ChunkQueue& examiner, TimeNs now)
    : options_(std::move(options)), disk_(disk), examiner_(examiner) {
  begin_segment(now);
}

TimeNs Scribe::placed(TimeNs time) {
  time = std::max(time, segment_floor_);
  latest_ = std::max(latest_, time);
  return time;
}

void Scribe::begin_chunk() {
  chunk_ = std::make_shared<Chunk>();
  chunk_->segment = head_;
  chunk_->bytes.reserve(4096);
  chunk_frames_.assign(buses_.size(), 0);
}

std::vector<std::uint8_t> Scribe::file_head() const {
  std::vector<std::uint8_t> bytes;
  BlockEncoder encoder(bytes);
  encoder.section();
  for (const Bus& bus : buses_) encoder.bus(bus.info);
  return bytes;
}

void Scribe::begin_segment(TimeNs now) {
  new_segment_wanted_ = false;
  auto head = std::make_shared<SegmentHead>();
  head->segment = head_ ? head_->segment + 1 : 1;
  // Readers take files in the order of their times, so no time of this one may lie before the last of the one before.
  segment_floor_ = latest_ == INT64_MIN ? now : latest_ + 1;
  head->start = placed(now);
  head->name = segment_name({options_.run, head->segment, head->start, false});
  head_ = std::move(head);
  begin_chunk();
  chunk_->begins_segment = true;
  chunk_->bytes = file_head();
  BlockEncoder encoder(chunk_->bytes);
  RecorderNote begins;
  begins.kind = RecorderNote::Kind::run_begins;
  begins.number = options_.run;
  begins.boot = options_.boot;
  begins.span = options_.clock_shift;
  begins.text = options_.clock_words;
  encoder.note(0, head_->start, begins);
  for (std::size_t i = 0; i < buses_.size(); ++i)
    if (buses_[i].link != LinkState::up) encoder.link(static_cast<BusIndex>(i), head_->start, buses_[i].link);
  segment_bytes_ = 0;
}

BusIndex Scribe::bus(const std::string& name, std::uint64_t bitrate) {
  for (std::size_t i = 0; i < buses_.size(); ++i) {
    if (buses_[i].info.name != name) continue;
    if (bitrate != 0 && buses_[i].info.bitrate != bitrate) {
      buses_[i].info.bitrate = bitrate;
      new_segment_wanted_ = true;
    }
    return static_cast<BusIndex>(i);
  }
  buses_.emplace_back();
  buses_.back().info = {name, bitrate};
  chunk_frames_.push_back(0);
  BlockEncoder(chunk_->bytes).bus(buses_.back().info);
  return static_cast<BusIndex>(buses_.size() - 1);
}

void Scribe::frame(Event event, std::uint64_t lost_before) {
  event.time = placed(event.time);
  if (!disk_refuses_) lost_before += std::exchange(buses_[event.bus].lost_unrecorded, 0);
  BlockEncoder(chunk_->bytes).frame(event, lost_before);
  if (((event.id >> 16) & 0xFF) == 0xEE) [[unlikely]]
    remember_claim(event);
  ++chunk_->events;
  ++chunk_frames_[event.bus];
}

void Scribe::remember_claim(const Event& event) {
  if (!event.is_iso11783() || event.len != 8 || source_of(event.id) >= kNullAddress) return;
  Claim& claim = claims_[{event.bus, source_of(event.id)}];
  claim.time = event.time;
  claim.id = event.id;
  std::copy_n(event.data, 8, claim.name.begin());
}

void Scribe::counters(BusIndex bus, TimeNs time, const Counters& counters) {
  Counters told = buses_[bus].counters = counters;
  // What found no room here is as lost as what found none in the kernel.
  if (buses_[bus].unrecorded > 0) told.system_dropped = told.system_dropped.value_or(0) + buses_[bus].unrecorded;
  BlockEncoder(chunk_->bytes).counters(bus, placed(time), told);
}

void Scribe::link(BusIndex bus, TimeNs time, LinkState state) {
  buses_[bus].link = state;
  BlockEncoder(chunk_->bytes).link(bus, placed(time), state);
}

void Scribe::note(BusIndex bus, TimeNs time, RecorderNote note) {
  BlockEncoder(chunk_->bytes).note(bus, placed(time), note);
}

void Scribe::add_follower(Follower follower) {
  const std::lock_guard lock(followers_mutex_);
  new_followers_.push_back(std::move(follower));
}

void Scribe::hand_on(bool last, TimeNs now) {
  chunk_->last = last;
  segment_bytes_ += chunk_->bytes.size();
  // After a refusal nothing goes to the disk before a new segment does.
  if (disk_refuses_ || !disk_.push(chunk_)) {
    chunk_->recorded = false;  // nobody else has it yet
    disk_refuses_ = true;
    not_recorded_ += chunk_->events;
    for (std::size_t i = 0; i < chunk_frames_.size(); ++i) {
      buses_[i].lost_unrecorded += chunk_frames_[i];
      buses_[i].unrecorded += chunk_frames_[i];
    }
    if (last) disk_.push(chunk_);  // whoever waits for the end must see it; it is not written
  }
  if (!examiner_.push(chunk_)) starting_over_ = true;

  {
    const std::lock_guard lock(followers_mutex_);
    std::erase_if(followers_, [&](const Follower& follower) {
      return !follower(chunk_->bytes.data(), chunk_->bytes.size());
    });
    if (!new_followers_.empty()) {
      std::vector<std::uint8_t> head = file_head();
      for (const auto& [who, claim] : claims_) {
        Event event;
        event.time = claim.time;
        event.bus = who.first;
        event.id = claim.id;
        event.flags = kExtendedId;
        event.len = 8;
        event.data = claim.name.data();
        BlockEncoder(head).frame(event);
      }
      for (Follower& follower : new_followers_)
        if (follower(head.data(), head.size())) followers_.push_back(std::move(follower));
      new_followers_.clear();
    }
  }
  if (last) return;

  const bool disk_well = disk_refuses_ && disk_.has_room();
  const bool caught_up = starting_over_ && !disk_refuses_ && examiner_.has_room();
  if (disk_well || caught_up) {
    begin_segment(now);
    chunk_->starts_over = true;
    starting_over_ = false;
    if (disk_well) {
      disk_refuses_ = false;
      RecorderNote note;
      note.kind = RecorderNote::Kind::not_recorded;
      note.number = not_recorded_ - std::exchange(not_recorded_before_, not_recorded_);
      note.text = "the disk took nothing for longer than memory could hold";
      this->note(0, now, note);
    }
    return;
  }
  begin_chunk();
}

void Scribe::flush(TimeNs now) {
  const bool due = new_segment_wanted_ || segment_bytes_ >= options_.segment_bytes ||
                   now - head_->start >= options_.segment_span;
  if (!chunk_->bytes.empty()) hand_on(false, now);
  if (due && !disk_refuses_ && !chunk_->begins_segment) begin_segment(now);
}

void Scribe::finish(TimeNs now) {
  flush(now);
  // Whoever is behind gets a moment to catch up, so that the last report is that of the recording.
  for (auto left = kCatchUp; (disk_refuses_ || starting_over_) && left > kShortPause; left -= kShortPause) {
    std::this_thread::sleep_for(kShortPause);
    hand_on(false, now);
  }
  for (std::size_t i = 0; i < buses_.size(); ++i) {
    // No frame will come that could tell of those before it.
    if (!disk_refuses_ && buses_[i].lost_unrecorded > 0) this->counters(static_cast<BusIndex>(i), now, Counters(buses_[i].counters));
    link(static_cast<BusIndex>(i), now, LinkState::paused);
  }
  RecorderNote ends;
  ends.kind = RecorderNote::Kind::run_ends;
  ends.number = options_.run;
  note(0, now, ends);
  hand_on(true, now);
}

}  // namespace tramlog
