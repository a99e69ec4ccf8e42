#include "slice/mender.hpp"

#include <algorithm>
#include <deque>
#include <filesystem>
#include <map>
#include <memory>
#include <unordered_map>
#include <unordered_set>
#include <utility>

#include "io/capture_probe.hpp"
#include "io/capture_writer.hpp"
#include "slice/block_forms.hpp"
#include "slice/time_order.hpp"

namespace tramlog {
namespace {

/// Buses are recorded side by side, and a block may stand so much before an earlier one of another bus.
constexpr SpanNs kSideBySide = 20 * kMillisecond;
constexpr std::size_t kMostHeldBytes = 64 * 1024 * 1024;  // of blocks that move
constexpr std::size_t kMostAheadSections = 4096;

/// Interfaces that a section describes, but behind packets that need them.
struct Ahead {
  std::vector<InterfaceWords> words;
  std::vector<std::vector<std::uint8_t>> blocks;
};
using AheadBySection = std::map<std::size_t, Ahead>;

/// What all passes share: they number sections and timed blocks alike.
class Pass : public BlockSink {
 public:
  explicit Pass(const AheadBySection& ahead) : ahead_(ahead) {}

  void section(Bytes header, bool swapped) override {
    ++section_;
    waiting_ = nullptr;
    begin_section(header, swapped);
  }
  std::vector<InterfaceWords> described_ahead() override {
    const auto found = ahead_.find(section_);
    if (found == ahead_.end()) return {};
    waiting_ = &found->second;
    given_ = 0;
    return found->second.words;
  }
  void interface(Bytes block, const InterfaceWords& words, bool swapped) override {
    record_resolution_ = words.resolution;  // classic pcap has one interface
    bool real = !block.empty();
    if (!real && waiting_ != nullptr && given_ < waiting_->blocks.size()) {
      block = waiting_->blocks[given_++];
      real = true;
    }
    take_interface(block, words, swapped, real);
  }
  void block(Bytes block, std::optional<TimeNs> time, bool swapped) override {
    if (!time) return take_untimed(block, swapped);
    take_timed(block, *time, lane_of(block, swapped), ordinal_++, swapped);
  }
  void record(const PcapRecordWords& record, TimeNs time) override {
    put_packet(built_, record, record_resolution_);
    take_timed(built_, time, lane_of(built_, false), ordinal_++, false);
  }
  void damage(const Damage&) override {}

 protected:
  virtual void begin_section(Bytes, bool) {}
  virtual void take_interface(Bytes, const InterfaceWords&, bool, bool) {}
  virtual void take_untimed(Bytes, bool) {}
  virtual void take_timed(Bytes block, TimeNs time, Lane lane, std::uint64_t ordinal, bool swapped) = 0;

  std::size_t section_ = 0;

 private:
  const AheadBySection& ahead_;
  const Ahead* waiting_ = nullptr;
  std::size_t given_ = 0;
  std::uint64_t ordinal_ = 0;
  std::uint8_t record_resolution_ = 9;
  std::vector<std::uint8_t> built_;
};

/// What stands where: losses, order, descriptions that come too late.
class Survey final : public Pass {
 public:
  Survey(const AheadBySection& known, Mended& found) : Pass(known), found_(found) {}

  void damage(const Damage& damage) override {
    ++found_.losses;
    found_.lost_bytes += damage.bytes;
    if (found_.lost.size() < Mended::kMostListed) {
      found_.lost.push_back({damage.offset, damage.bytes, damage.reason, last_, std::nullopt});
      ++open_;
    }
  }
  void undescribed() override { missed_ = true; }

  void finish() { end_section(); }
  AheadBySection take_ahead() { return std::move(late_); }
  std::vector<std::vector<Misplaced>>& misplaced() { return misplaced_; }

 private:
  void begin_section(Bytes, bool) override {
    end_section();
    lacking_ = missed_ = used_ = false;
    seen_ = {};
  }
  void take_interface(Bytes block, const InterfaceWords& words, bool, bool real) override {
    if (!real) {
      lacking_ = true;
      return;
    }
    seen_.words.push_back(words);
    seen_.blocks.emplace_back(block.begin(), block.end());
    late_here_ = late_here_ || missed_ || (lacking_ && used_);
  }
  void take_timed(Bytes, TimeNs time, Lane lane, std::uint64_t ordinal, bool) override {
    used_ = true;
    order_.take(lane, ordinal, time);
    for (; open_ > 0; --open_) found_.lost[found_.lost.size() - open_].before = time;
    last_ = time;
  }
  void end_section() {
    if (std::exchange(late_here_, false) && late_.size() < kMostAheadSections)
      late_.emplace(section_at_, std::move(seen_));
    TimeOrder::Verdict verdict = order_.finish();
    found_.crowded = found_.crowded || verdict.crowded;
    for (const StepBack& step : verdict.steps)
      if (found_.steps.size() < Mended::kMostListed) found_.steps.push_back({step.before, step.after});
    for (const Misplaced& one : verdict.misplaced) {
      ++(one.moves ? found_.moved : found_.left);
      if (found_.out_of_order.size() < Mended::kMostListed)
        found_.out_of_order.push_back({one.time, one.moves});
    }
    if (!verdict.misplaced.empty()) {
      misplaced_.resize(section_at_ + 1);
      misplaced_[section_at_] = std::move(verdict.misplaced);
    }
    section_at_ = section_;
  }

  Mended& found_;
  TimeOrder order_;
  Ahead seen_;
  AheadBySection late_;
  std::vector<std::vector<Misplaced>> misplaced_;  // by section
  std::size_t section_at_ = 0;
  std::size_t open_ = 0;  // of the listed losses, the last ones behind which no time came yet
  std::optional<TimeNs> last_;
  bool lacking_ = false;    // an interface of this section had to be assumed
  bool missed_ = false;     // blocks were left out for want of their interface
  bool used_ = false;       // blocks of this section came
  bool late_here_ = false;  // a description came after it was needed
};

/// A block that is to be written elsewhere.
struct Held {
  Misplaced place;
  std::vector<std::uint8_t> block;
};

class Gather final : public Pass {
 public:
  Gather(const AheadBySection& ahead, std::unordered_map<std::uint64_t, Held>& held)
      : Pass(ahead), held_(held) {}

 private:
  void take_timed(Bytes block, TimeNs, Lane, std::uint64_t ordinal, bool) override {
    const auto found = held_.find(ordinal);
    if (found == held_.end()) return;
    bytes_ += block.size();
    if (bytes_ > kMostHeldBytes) {
      held_.erase(found);  // stays where it is
      return;
    }
    found->second.block.assign(block.begin(), block.end());
  }
  std::unordered_map<std::uint64_t, Held>& held_;
  std::size_t bytes_ = 0;
};

class Writing final : public Pass {
 public:
  Writing(const AheadBySection& ahead, CaptureWriter& out, Mended& found,
          std::vector<std::vector<Misplaced>> misplaced, const std::unordered_map<std::uint64_t, Held>& held)
      : Pass(ahead), out_(out), found_(found), misplaced_(std::move(misplaced)), held_(held) {}

  void damage(const Damage& damage) override {
    if (lost_count_++ == 0) {
      lost_ = {};
      lost_.kind = RecorderNote::Kind::lost;
      lost_.text = damage.reason;
    }
    lost_.number += damage.bytes;
  }
  void finish() {
    insert_all();
    write_loss(std::nullopt);
  }

 private:
  void begin_section(Bytes header, bool swapped) override {
    insert_all();
    write_loss(std::nullopt);
    described_.clear();
    open_ = false;
    if (!header.empty()) {
      out_.write_blocks(header);
      open_ = true;
      swapped_ = swapped;
    }
    prepare();
  }

  /// The blocks of this section that stand elsewhere.
  void prepare() {
    waiting_.clear();
    wild_.clear();
    if (section_ >= misplaced_.size()) return;
    for (const Misplaced& one : misplaced_[section_]) {
      wild_.insert(one.ordinal);
      if (held_.count(one.ordinal) > 0) waiting_.push_back(one);
    }
    std::stable_sort(waiting_.begin(), waiting_.end(),
                     [](const Misplaced& a, const Misplaced& b) { return a.time < b.time; });
  }

  /// A section header in this byte order, if the last one was lost or has another, and the interfaces again.
  void see_to_section(bool swapped) {
    if (open_ && swapped == swapped_) return;
    if (!prepared_ && section_ == 0) prepare();
    prepared_ = true;
    open_ = true;
    swapped_ = swapped;
    put_section(built_, swapped);
    out_.write_blocks(built_);
    for (const InterfaceWords& words : described_) {
      put_interface(built_, words, swapped);
      out_.write_blocks(built_);
    }
  }

  void take_interface(Bytes block, const InterfaceWords& words, bool swapped, bool real) override {
    see_to_section(swapped);
    described_.push_back(words);
    if (!real) {
      put_interface(built_, words, swapped);
      block = built_;
    }
    out_.write_blocks(block);
  }

  void take_untimed(Bytes block, bool swapped) override {
    see_to_section(swapped);
    write(block);
  }

  void take_timed(Bytes block, TimeNs time, Lane lane, std::uint64_t ordinal, bool swapped) override {
    see_to_section(swapped);
    write_loss(time);
    last_ = time;
    if (held_.count(ordinal) > 0) return;
    if (!waiting_.empty() && wild_.count(ordinal) == 0) insert_before(time, lane);
    write(block);
  }

  void insert_before(TimeNs time, Lane lane) {
    for (auto one = waiting_.begin(); one != waiting_.end() && one->time < time;) {
      const bool due = (one->lane == lane || one->time + kSideBySide < time) && is_described(one->lane);
      if (!due) {
        ++one;
        continue;
      }
      write(held_.at(one->ordinal).block);
      one = waiting_.erase(one);
    }
  }
  bool is_described(Lane lane) const {
    const auto interface = interface_of(lane);
    return !interface || *interface < described_.size();
  }
  void insert_all() {
    for (const Misplaced& one : waiting_) write(held_.at(one.ordinal).block);
    waiting_.clear();
  }

  void write_loss(std::optional<TimeNs> before) {
    if (lost_count_ == 0) return;
    if (!open_) see_to_section(false);
    if (lost_count_ > 1) lost_.text += " (and " + std::to_string(lost_count_ - 1) + " more)";
    const TimeNs after = last_.value_or(before.value_or(0));
    lost_.span = before ? std::max<SpanNs>(*before - after, 0) : 0;
    put_note(built_, after, lost_, swapped_);
    out_.write_blocks(built_);
    lost_count_ = 0;
  }

  void write(Bytes block) {
    ++(is_packet(block, swapped_) ? found_.packets : found_.other);
    out_.write_blocks(block);
  }

  CaptureWriter& out_;
  Mended& found_;
  std::vector<std::vector<Misplaced>> misplaced_;
  const std::unordered_map<std::uint64_t, Held>& held_;
  std::deque<Misplaced> waiting_;           // by time
  std::unordered_set<std::uint64_t> wild_;  // ordinals that say nothing about the time here
  std::vector<InterfaceWords> described_;
  std::vector<std::uint8_t> built_;
  RecorderNote lost_;
  std::uint64_t lost_count_ = 0;
  std::optional<TimeNs> last_;
  bool open_ = false;  // a section header is written
  bool prepared_ = false;
  bool swapped_ = false;
};

/// Reads the whole capture once.
std::optional<Error> read_through(const std::string& path, Pass& pass) {
  auto probed = probe_capture(path);
  if (!probed) return probed.error();
  if (!probed->regular || probed->stream)
    return Error{ErrorKind::usage, "mending reads a capture more than once, and this is no file", path,
                 "save it as a file first"};
  const CaptureFormat format = probed->format;
  const TimeNs start = probed->start;
  auto window = open_probed(*probed);
  if (!window) return window.error();
  BusTable buses;
  CaptureFileReader reader(std::move(*window), format, buses, 0, start == kTimeLimit ? 0 : start);
  reader.hand_blocks_to(pass);
  while (!reader.ended()) (void)reader.read(1);
  return std::nullopt;
}

}  // namespace

Result<Mended> mend_capture(const std::string& damaged, const std::string& mended) {
  std::error_code not_there;
  if (std::filesystem::equivalent(damaged, mended, not_there))
    return Error{ErrorKind::usage, "the mended capture would overwrite the damaged one", mended,
                 "give another name"};
  AheadBySection ahead;
  Mended found;
  std::vector<std::vector<Misplaced>> misplaced;
  // Once, and again if descriptions of interfaces turned up behind what needs them.
  for (const bool again : {false, true}) {
    found = {};
    Survey survey(ahead, found);
    if (auto error = read_through(damaged, survey)) return *error;
    survey.finish();
    misplaced = std::move(survey.misplaced());
    AheadBySection late = survey.take_ahead();
    if (again || late.empty()) break;
    ahead = std::move(late);
  }
  std::unordered_map<std::uint64_t, Held> held;
  for (const auto& section : misplaced)
    for (const Misplaced& one : section)
      if (one.moves) held.emplace(one.ordinal, Held{one, {}});
  if (!held.empty()) {
    Gather gather(ahead, held);
    if (auto error = read_through(damaged, gather)) return *error;
  }
  auto out = CaptureWriter::create_for_blocks(mended);
  if (!out) return out.error();
  Writing writing(ahead, *out, found, std::move(misplaced), held);
  if (auto error = read_through(damaged, writing)) return *error;
  writing.finish();
  auto bytes = out->finish();
  if (!bytes) return bytes.error();
  found.bytes = *bytes;
  return found;
}

}  // namespace tramlog
