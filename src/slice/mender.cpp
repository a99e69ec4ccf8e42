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
#include "io/lone_stamp.hpp"
#include "slice/block_forms.hpp"
#include "slice/piece_order.hpp"
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

/// How the file is to be read.
struct ReadPlan {
  AheadBySection ahead;
  PiecePlan pieces;
};

/// What all passes share: they number sections and timed blocks alike, and see the pieces of the file in the
/// order of the plan.
class Pass : public BlockSink {
 public:
  explicit Pass(const ReadPlan& plan) : plan_(plan) {}

  /// The file is read once more, for the pieces of this turn.
  void begin_turn(std::size_t turn) {
    turn_ = turn;
    section_ = piece_ = 0;
    in_file_ = 0;
  }

  void section(Bytes header, bool swapped) override {
    ++section_;
    waiting_ = nullptr;
    if (turn_ == 0) begin_section(header, swapped);
  }
  std::vector<InterfaceWords> described_ahead() override {
    const auto found = plan_.ahead.find(section_);
    if (found == plan_.ahead.end()) return {};
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
    if (turn_ == 0) take_interface(block, words, swapped, real);
  }
  void block(Bytes block, std::optional<TimeNs> time, bool swapped) override {
    if (time) return timed(block, *time, swapped);
    if (is_its_turn()) take_untimed(block, swapped);
  }
  void record(const PcapRecordWords& record, TimeNs time) override {
    put_packet(built_, record, record_resolution_);
    timed(built_, time, false);
  }
  void damage(const Damage& damage) override {
    if (is_its_turn()) take_damage(damage);
  }

 protected:
  virtual void begin_section(Bytes, bool) {}
  virtual void take_interface(Bytes, const InterfaceWords&, bool, bool) {}
  virtual void take_untimed(Bytes, bool) {}
  virtual void take_timed(Bytes block, TimeNs time, Lane lane, std::uint64_t ordinal, bool swapped) = 0;
  virtual void take_damage(const Damage&) {}

  std::size_t section_ = 0;

 private:
  void timed(Bytes block, TimeNs time, bool swapped) {
    const std::vector<Piece>& pieces = plan_.pieces.pieces;
    while (piece_ + 1 < pieces.size() && in_file_ >= pieces[piece_].end) ++piece_;
    ++in_file_;
    if (is_its_turn()) take_timed(block, time, lane_of(block, swapped), ordinal_++, swapped);
  }
  /// What has no time belongs to the piece before it.
  bool is_its_turn() const { return plan_.pieces.empty() || plan_.pieces.turn[piece_] == turn_; }

  const ReadPlan& plan_;
  const Ahead* waiting_ = nullptr;
  std::size_t given_ = 0;
  std::uint64_t ordinal_ = 0;  // in the order of the plan
  std::uint64_t in_file_ = 0;
  std::size_t turn_ = 0, piece_ = 0;
  std::uint8_t record_resolution_ = 9;
  std::vector<std::uint8_t> built_;
};

/// What stands where: order, descriptions that come too late.
class Survey final : public Pass {
 public:
  Survey(const ReadPlan& plan, Mended& found) : Pass(plan), found_(found) {}

  void undescribed() override { missed_ = true; }

  void finish() { end_section(); }
  AheadBySection take_ahead() { return std::move(late_); }
  /// Of a file of one section whose interfaces are described before its packets.
  PiecePlan take_pieces() { return sections_ <= 1 && !described_late_ ? pieces_.finish() : PiecePlan(); }
  std::vector<std::vector<Misplaced>>& misplaced() { return misplaced_; }

 private:
  void begin_section(Bytes, bool) override {
    end_section();
    ++sections_;
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
    described_late_ = described_late_ || used_;
  }
  void take_timed(Bytes, TimeNs time, Lane lane, std::uint64_t ordinal, bool) override {
    // Sections are judged each for itself, and never sorted: that one lies before the other is only told.
    if (!used_ && last_ && time < *last_ - kFarOff && found_.steps.size() < Mended::kMostListed)
      found_.steps.push_back({*last_, time});
    used_ = true;
    last_ = time;
    order_.take(lane, ordinal, time);
    pieces_.take(time);
  }
  void end_section() {
    if (std::exchange(late_here_, false) && late_.size() < kMostAheadSections)
      late_.emplace(section_at_, std::move(seen_));
    TimeOrder::Verdict verdict = order_.finish();
    found_.crowded = found_.crowded || verdict.crowded;
    for (const StepBack& step : verdict.steps)
      if (found_.steps.size() < Mended::kMostListed) found_.steps.push_back({step.before, step.after});
    for (const Misplaced& one : verdict.misplaced) {
      ++(one.instead ? found_.stamps : one.moves ? found_.moved : found_.left);
      if (found_.out_of_order.size() < Mended::kMostListed)
        found_.out_of_order.push_back({one.time, one.moves, one.instead});
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
  PieceOrder pieces_;
  std::optional<TimeNs> last_;
  std::size_t sections_ = 0;
  bool described_late_ = false;
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
  Gather(const ReadPlan& plan, std::unordered_map<std::uint64_t, Held>& held) : Pass(plan), held_(held) {}

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
  Writing(const ReadPlan& plan, CaptureWriter& out, Mended& found,
          std::vector<std::vector<Misplaced>> misplaced, const std::unordered_map<std::uint64_t, Held>& held)
      : Pass(plan), out_(out), found_(found), misplaced_(std::move(misplaced)), held_(held) {}

  void finish() {
    insert_all();
    write_loss(std::nullopt);
  }

 private:
  void take_damage(const Damage& damage) override {
    ++found_.losses;
    found_.lost_bytes += damage.bytes;
    if (found_.lost.size() < Mended::kMostListed) {
      found_.lost.push_back({damage.offset, damage.bytes, damage.reason, damage.kind, last_, std::nullopt});
      ++open_losses_;
    }
    if (lost_count_++ == 0) {
      lost_ = {};
      lost_.kind = RecorderNote::Kind::lost;
      lost_.text = damage.reason;
      lost_.boot = static_cast<std::uint64_t>(damage.kind);
    }
    // Of several at one place the worst is told.
    if (is_loss(damage.kind) && lost_kind(lost_) != Damage::Kind::breaks_off)
      lost_.boot = static_cast<std::uint64_t>(damage.kind);
    lost_.number += damage.bytes;
  }

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
    stamps_.clear();
    if (section_ >= misplaced_.size()) return;
    for (const Misplaced& one : misplaced_[section_]) {
      wild_.insert(one.ordinal);
      if (one.instead) stamps_.emplace(one.ordinal, *one.instead);
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
    const bool moves = held_.count(ordinal) > 0;
    const auto anew = stamps_.find(ordinal);
    if (anew != stamps_.end()) return write_stamped(block, time, anew->second, lane, swapped);
    // What moves, or may stand wrong, says nothing about the time here.
    if (moves) return;
    if (is_sure(time, ordinal)) {
      write_loss(time);
      last_ = time;
    }
    if (!waiting_.empty() && wild_.count(ordinal) == 0) insert_before(time, lane);
    if (!is_in_nanoseconds(lane)) stamp_before_[lane] = time_words(block);
    write(block);
  }

  bool is_sure(TimeNs time, std::uint64_t ordinal) const {
    return !last_ || wild_.count(ordinal) == 0 || !is_far_off(time, *last_);
  }

  /// A time stamp that was wrong, with a note that says so. Units other than nanoseconds are not worked out
  /// again: such a block gets the stamp of the block of its interface before it.
  void write_stamped(Bytes block, TimeNs time, TimeNs instead, Lane lane, bool swapped) {
    write_loss(instead);
    last_ = instead;
    RecorderNote note;
    note.kind = RecorderNote::Kind::lost;
    note.boot = static_cast<std::uint64_t>(Damage::Kind::stamp);
    note.text = "it said " + format_date_time(time);
    put_note(built_, instead, note, swapped);
    out_.write_blocks(built_);
    std::vector<std::uint8_t> whole(block.begin(), block.end());
    if (is_in_nanoseconds(lane))
      set_time(whole, static_cast<std::uint64_t>(instead), swapped);
    else if (const auto before = stamp_before_.find(lane); before != stamp_before_.end())
      set_time_words(whole, before->second);
    write(whole);
  }
  bool is_in_nanoseconds(Lane lane) const {
    const auto interface = interface_of(lane);
    if (!interface) return true;
    if (*interface >= described_.size()) return false;
    constexpr std::uint8_t kNanoseconds = 9;
    return described_[*interface].resolution == kNanoseconds && described_[*interface].offset_s == 0;
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
    if (before)
      for (; open_losses_ > 0; --open_losses_) found_.lost[found_.lost.size() - open_losses_].before = before;
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
  std::deque<Misplaced> waiting_;                     // by time
  std::unordered_map<std::uint64_t, TimeNs> stamps_;  // by ordinal, of those that are put right
  std::map<Lane, TimeWords> stamp_before_;            // of lanes in other units than nanoseconds
  std::unordered_set<std::uint64_t> wild_;            // ordinals that say nothing about the time here
  std::vector<InterfaceWords> described_;
  std::vector<std::uint8_t> built_;
  RecorderNote lost_;
  std::uint64_t lost_count_ = 0;
  std::size_t open_losses_ = 0;  // of the listed ones, the last ones behind which no time came yet
  std::optional<TimeNs> last_;
  bool open_ = false;  // a section header is written
  bool prepared_ = false;
  bool swapped_ = false;
};

/// Reads the whole capture once, or as often as its pieces want it.
std::optional<Error> read_through(const std::string& path, Pass& pass, const ReadPlan& plan) {
  for (std::size_t turn = 0; turn < plan.pieces.turns; ++turn) {
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
    pass.begin_turn(turn);
    reader.hand_blocks_to(pass);
    while (!reader.ended()) (void)reader.read(1);
  }
  return std::nullopt;
}

/// Stretches that stood together in the file are told as one.
std::vector<FilePart> stretches_of(const PiecePlan& plan) {
  std::vector<FilePart> told;
  for (std::size_t k = 0; k < plan.by_time.size(); ++k) {
    const Piece& piece = plan.pieces[plan.by_time[k]];
    if (k > 0 && plan.by_time[k] == plan.by_time[k - 1] + 1)
      told.back().last = piece.last;
    else
      told.push_back({piece.first, piece.last});
  }
  return told;
}

}  // namespace

Result<Mended> mend_capture(const std::string& damaged, const std::string& mended) {
  std::error_code not_there;
  if (std::filesystem::equivalent(damaged, mended, not_there))
    return Error{ErrorKind::usage, "the mended capture would overwrite the damaged one", mended,
                 "give another name"};
  ReadPlan plan;
  Mended found;
  std::vector<std::vector<Misplaced>> misplaced;
  // Again if descriptions of interfaces turned up behind what needs them, and if parts stand in the wrong
  // order.
  for (bool again = true; again;) {
    found = {};
    Survey survey(plan, found);
    if (auto error = read_through(damaged, survey, plan)) return *error;
    survey.finish();
    misplaced = std::move(survey.misplaced());
    again = false;
    if (plan.ahead.empty()) {
      plan.ahead = survey.take_ahead();
      again = !plan.ahead.empty();
    }
    if (!again && plan.pieces.empty()) {
      plan.pieces = survey.take_pieces();
      again = !plan.pieces.empty();
    }
  }
  found.sorted = stretches_of(plan.pieces);
  std::unordered_map<std::uint64_t, Held> held;
  for (const auto& section : misplaced)
    for (const Misplaced& one : section)
      if (one.moves) held.emplace(one.ordinal, Held{one, {}});
  if (!held.empty()) {
    Gather gather(plan, held);
    if (auto error = read_through(damaged, gather, plan)) return *error;
  }
  auto out = CaptureWriter::create_for_blocks(mended);
  if (!out) return out.error();
  Writing writing(plan, *out, found, std::move(misplaced), held);
  if (auto error = read_through(damaged, writing, plan)) return *error;
  writing.finish();
  auto bytes = out->finish();
  if (!bytes) return bytes.error();
  found.bytes = *bytes;
  return found;
}

}  // namespace tramlog
