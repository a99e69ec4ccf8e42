#include "io/capture_merge.hpp"

#include <algorithm>
#include <cstring>
#include <utility>

namespace tramlog {
namespace {

constexpr std::size_t kMerged = 256;  // events of one go where files overlap

TimeNs median(TimeNs a, TimeNs b, TimeNs c) {
  return std::max(std::min(a, b), std::min(std::max(a, b), c));
}

}  // namespace

bool MergeInput::needs_refill(bool lone) const {
  if (reader_->ended()) return false;
  if (rest_.empty()) return true;
  return !lone && rest_.size() == 1 && !held_ && rest_.front().time > previous_ + kHour;
}

void MergeInput::hold() {
  held_ = rest_.front();
  if (held_->notice != nullptr) {
    held_notice_ = *held_->notice;
    held_->notice = &*held_notice_;
  }
  if (held_->data != nullptr) {
    std::memcpy(held_data_.data(), held_->data, held_->len);
    held_->data = held_data_.data();
  }
  rest_ = {};
}

void MergeInput::refill(std::uint64_t next_number) {
  if (!rest_.empty()) hold();
  rest_ = reader_->read(next_number);
}

TimeNs MergeInput::key() const {
  const TimeNs own = front().time;
  const std::size_t next = held_ ? 0 : 1;
  return next < rest_.size() ? median(previous_, own, rest_[next].time) : own;
}

void MergeInput::pop() {
  previous_ = front().time;
  if (held_)
    held_.reset();
  else
    rest_ = rest_.subspan(1);
}

std::span<const Event> MergeInput::take_all() {
  if (!rest_.empty()) previous_ = rest_.back().time;
  return std::exchange(rest_, {});
}

TimeNs MergeInput::latest() const {
  TimeNs latest = previous_;
  for (const Event& event : rest_) latest = std::max(latest, event.time);
  return latest;
}

std::uint64_t MergeInput::first_number() const {
  for (const Event& event : rest_)
    if (event.number != 0) return event.number;
  return 0;
}

CaptureMerge::CaptureMerge(std::vector<ProbedCapture> captures) : captures_(std::move(captures)) {
  files_.resize(captures_.size());
  for (std::size_t i = 0; i < files_.size(); ++i) files_[i].name = captures_[i].path;
  out_.reserve(kMerged);
}

void CaptureMerge::open_next() {
  const std::size_t file = opened_++;
  ProbedCapture& capture = captures_[file];
  const TimeNs start = capture.start == kTimeLimit ? last_time_ : capture.start;
  auto window = capture.unreadable ? Result<std::unique_ptr<ByteWindow>>(*capture.unreadable) : open_probed(capture);
  if (!window) {
    // The others are worth reading all the same.
    files_[file].read_error = true;
    const Error& error = window.error();
    if (capture.unreadable) files_[file].unreadable = error.what;
    notices_.push_back(std::make_unique<Notice>(Damage{
        0, 0, (capture.unreadable ? "nothing of the file could be read: " : "the file can no longer be read: ") + error.what,
        static_cast<std::uint32_t>(file)}));
    Event event;
    event.kind = EventKind::notice;
    event.time = start;
    event.notice = notices_.back().get();
    out_.push_back(event);
    return;
  }
  auto reader = std::make_unique<CaptureFileReader>(std::move(*window), capture.format, buses_,
                                                    static_cast<std::uint32_t>(file), start);
  inputs_.push_back(std::make_unique<MergeInput>(file, std::move(reader), start));
}

void CaptureMerge::close(const MergeInput& input) {
  CaptureFile& file = files_[input.file()];
  const ReadTally& tally = input.reader().parser().tally();
  file.packets = tally.packets;
  file.foreign = tally.foreign;
  file.damaged_bytes = tally.damaged_bytes;
  file.read_error = tally.read_error;
  file.fingerprint = tally.fingerprint.text();
}

/// Gets every open file its next events and closes those that have none. Opens the next file if none is left.
bool CaptureMerge::refill_inputs() {
  for (;;) {
    for (const auto& input : inputs_)
      while (input->needs_refill(lone())) input->refill(next_number_);
    std::erase_if(inputs_, [this](const std::unique_ptr<MergeInput>& input) {
      if (input->exhausted()) close(*input);
      return input->exhausted();
    });
    if (!inputs_.empty() || !out_.empty()) return true;
    if (opened_ == captures_.size()) return false;
    open_next();
  }
}

std::span<const Event> CaptureMerge::read() {
  for (;;) {
    out_.clear();
    notices_.clear();
    if (!refill_inputs()) return {};
    if (inputs_.size() == 1 && out_.empty() && can_pass_on(*inputs_.front()))
      return pass_on(*inputs_.front());
    if (!inputs_.empty()) merge();
    if (!out_.empty()) return out_;
  }
}

/// Whether the events can be given as they are: nothing else comes between them, and their numbers are right.
bool CaptureMerge::can_pass_on(const MergeInput& input) const {
  if (input.has_held()) return false;
  const std::uint64_t number = input.first_number();
  if (number != 0 && number != next_number_) return false;
  return opened_ == captures_.size() || input.latest() < next_start();
}

std::span<const Event> CaptureMerge::pass_on(MergeInput& input) {
  const std::span<const Event> events = input.take_all();
  for (std::size_t i = events.size(); i-- > 0;) {
    if (events[i].number == 0) continue;
    next_number_ = events[i].number + 1;
    break;
  }
  last_time_ = events.back().time;
  // What a file that stands alone told of its buses came before their frames; a later file's reader leaves it
  // out.
  if (captures_.size() > 1) announced_.assign(buses_.size(), true);
  return events;
}

/// The input whose next event is earliest, the first of equals; and the time up to which it stays that.
std::size_t CaptureMerge::earliest(TimeNs& next_best) const {
  std::size_t best = 0;
  TimeNs best_key = inputs_[0]->key();
  next_best = kTimeLimit;
  for (std::size_t i = 1; i < inputs_.size(); ++i) {
    const TimeNs key = inputs_[i]->key();
    next_best = std::min(next_best, std::max(key, best_key));
    if (key < best_key) {
      best = i;
      best_key = key;
    }
  }
  return best;
}

/// Files are parsed ahead of the merge, so a bus may have been told in one file's future when another file's
/// frame of it comes up: it is announced here first.
void CaptureMerge::put(Event event) {
  const bool packet = event.number != 0;
  announced_.resize(std::max(announced_.size(), buses_.size()));
  const bool is_bus = !packet && std::holds_alternative<BusInfo>(*event.notice);
  const auto* note = packet ? nullptr : std::get_if<RecorderNote>(event.notice);
  const bool names_bus = !packet && !std::holds_alternative<Damage>(*event.notice) && (note == nullptr || note->of_bus);
  if ((packet || names_bus) && event.bus < announced_.size() && !announced_[event.bus]) {
    announced_[event.bus] = true;
    if (!is_bus) {
      notices_.push_back(std::make_unique<Notice>(buses_.info(event.bus)));
      Event announcement;
      announcement.kind = EventKind::notice;
      announcement.time = event.time;
      announcement.bus = event.bus;
      announcement.notice = notices_.back().get();
      out_.push_back(announcement);
    }
  }
  if (packet) event.number = next_number_++;
  last_time_ = event.time;
  out_.push_back(event);
}

void CaptureMerge::merge() {
  while (out_.size() < kMerged && !inputs_.empty()) {
    TimeNs next_best = kTimeLimit;
    const std::size_t first = earliest(next_best);
    if (opened_ < captures_.size() && next_start() <= inputs_[first]->key()) {
      const std::size_t before = inputs_.size();
      open_next();
      if (inputs_.size() == before) continue;
      MergeInput& opened = *inputs_.back();
      while (opened.needs_refill(false)) opened.refill(next_number_);
      if (opened.exhausted()) {
        close(opened);
        inputs_.pop_back();
      }
      continue;
    }
    MergeInput& input = *inputs_[first];
    for (;;) {
      const bool was_held = input.has_held();
      put(input.front());
      input.pop();
      // What is in out_ points into the file's window, which must stay until the next call.
      if (was_held || input.exhausted() || input.needs_refill(false)) return;
      if (out_.size() >= kMerged || input.key() >= next_best || input.key() >= next_start()) break;
    }
  }
}

}  // namespace tramlog
