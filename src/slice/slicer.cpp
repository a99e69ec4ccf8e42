#include "slice/slicer.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <utility>

#include "can/stand_ins.hpp"
#include "slice/known.hpp"

namespace tramlog {
namespace {

constexpr std::size_t kMaxBuses = 64;
constexpr SpanNs kOutOfStep = 2 * kSecond;  // as the examiner tolerates

// Sent to all, and needed to judge others: status of terminal, task controller and file server; speeds, key,
// engine, voltage.
bool is_about_the_machine(Pgn pgn, Address destination) {
  switch (pgn) {
    case kPgnAddressClaimed:
    case 0xEA00:  // request
    case 0xFE0D:  // working set master
    case 0xFE0C:  // working set member
    case 0xFED8:  // commanded address
    case 0xFE48:  // wheel-based speed, key switch
    case 0xFE49:  // ground-based speed
    case 0xF022:  // machine selected speed
    case 0xF004:  // engine speed
    case 0xFEF7:  // supply voltage
    case 0xDF00:  // DM13: who asked for silence
    case 0xEC00:  // transfers: who has which software
    case 0xEB00:
    case 0xFEDA:  // software, and other identification, if it is short
    case 0xFDC5:
    case 0xFEEB:
    case 0xFC8D:
    case 0xFC8E:
      return true;
    case 0xE600:  // terminal
    case 0xCB00:  // task controller
    case 0xAB00:  // file server
      return destination == kGlobalAddress;
    default:
      return false;
  }
}

bool is_packet(const Event& event) {
  return event.kind != EventKind::notice;
}

}  // namespace

std::vector<SliceSpan> joined_spans(std::vector<SliceSpan> spans, SpanNs bridge) {
  std::erase_if(spans, [](const SliceSpan& span) { return span.to < span.from; });
  std::sort(spans.begin(), spans.end(),
            [](const SliceSpan& a, const SliceSpan& b) { return a.from < b.from; });
  std::vector<SliceSpan> joined;
  for (const SliceSpan& span : spans) {
    if (!joined.empty() && span.from <= later_by(joined.back().to, std::max<SpanNs>(bridge, 1)))
      joined.back().to = std::max(joined.back().to, span.to);
    else
      joined.push_back(span);
  }
  return joined;
}

class Slicer::Impl {
 public:
  Impl(SlicePlan plan, CaptureWriter& out) : plan_(std::move(plan)), out_(out) {
    tally_.by_span.resize(plan_.spans.size());
  }

  void take(const Event& event);
  SliceTally finish();

 private:
  struct Bus {
    bool told = false;
    BusInfo info;
    BusIndex written = 0;            // its number in the slice
    std::uint64_t lost = 0;          // told before its next packet
    LinkState link = LinkState::up;  // in the source
    TimeNs heard = INT64_MIN;        // latest frame or statistics
    bool deaf = false;               // told to be paused since the part began
    TimeNs written_at = INT64_MIN;   // its latest frame in the slice
  };
  Bus& bus(BusIndex index);
  void take_notice(const Event& event);
  void hear(Bus& bus, TimeNs time);
  std::optional<std::size_t> span_at(TimeNs time) const;
  void enter(std::size_t span, TimeNs time);
  void leave();
  bool wanted(const Event& event);
  static bool is_witness(const Bus& from, const Event& event);
  bool chosen(BusIndex bus, Address address) const;
  std::string words(std::size_t span) const;

  SlicePlan plan_;
  CaptureWriter& out_;
  SliceTally tally_;
  Known known_;
  std::vector<Bus> buses_;
  BusIndex written_buses_ = 0;
  std::optional<std::size_t> span_;                // of plan_.spans, that is being written
  bool inside_ = false;                            // the latest timed event lay in it
  std::size_t parts_ = 0;                          // begun so far
  TimeNs now_ = 0;                                 // of the latest timed event
  std::optional<RecorderNote> run_, run_written_;  // the recorder's run that goes on
  TimeNs wrote_until_ = 0;
};

Slicer::Impl::Bus& Slicer::Impl::bus(BusIndex index) {
  if (index >= buses_.size()) buses_.resize(index + 1u);
  return buses_[index];
}

std::optional<std::size_t> Slicer::Impl::span_at(TimeNs time) const {
  const auto after = std::upper_bound(plan_.spans.begin(), plan_.spans.end(), time,
                                      [](TimeNs t, const SliceSpan& span) { return t < span.from; });
  if (after == plan_.spans.begin() || std::prev(after)->to < time) return std::nullopt;
  return static_cast<std::size_t>(std::prev(after) - plan_.spans.begin());
}

std::string Slicer::Impl::words(std::size_t span) const {
  const SliceSpan& now = plan_.spans[span];
  std::string text = fmt::format("part {} of {}, {} to {}", span + 1, plan_.spans.size(),
                                 now.from == INT64_MIN ? "the begin" : format_date_time(now.from),
                                 now.to == INT64_MAX ? "the end" : format_date_time(now.to));
  if (!plan_.why.empty()) text += ", " + plan_.why;
  return text;
}

void Slicer::Impl::enter(std::size_t span, TimeNs time) {
  span_ = span;
  // The run that goes on here begins in the slice, too.
  if (run_ && (!run_written_ || run_written_->number != run_->number || run_written_->boot != run_->boot)) {
    out_.write_note(0, time, *run_);
    run_written_ = run_;
  }
  RecorderNote cut;
  cut.kind = RecorderNote::Kind::cut;
  cut.boot = 1;
  cut.number = plan_.choice.names.size() + plan_.choice.places.size();
  cut.text = words(span);
  for (const Name name : plan_.choice.names) {
    cut.data += 'N';
    for (unsigned i = 0; i < 8; ++i) cut.data += static_cast<char>(name.raw() >> 8 * i);
  }
  for (const SliceChoice::Place& place : plan_.choice.places)
    (cut.data += 'A').append(1, static_cast<char>(place.address)).append(7, '\0');
  if (plan_.stand_ins) mark_stand_ins(cut);
  out_.write_note(0, time, cut);
  for (Bus& one : buses_) {
    one.lost = 0;
    if (!one.told) continue;
    const auto index = static_cast<BusIndex>(&one - buses_.data());
    // In a hole of the statistics the recorder did not hear; until the bus is heard again it does not here,
    // either.
    one.deaf = one.link == LinkState::up && known_.stood_still(index, one.heard, time);
    if (one.deaf)
      out_.write_link(one.written, time, LinkState::paused);
    else if (one.link != LinkState::up || parts_ > 0)
      out_.write_link(one.written, time, one.link);
  }
  const auto write = [&](const std::vector<Known::Note>& notes) {
    for (const Known::Note& known : notes)
      if (known.bus < buses_.size() && buses_[known.bus].told)
        out_.write_note(buses_[known.bus].written, time, known.note);
  };
  write(known_.notes(time));
  write(known_.pool_notes());
  ++parts_;
  wrote_until_ = time;
}

// What comes now was left out, but it was heard: the interface was up, and the recorder pauses.
void Slicer::Impl::leave() {
  const TimeNs end = std::max(wrote_until_, plan_.spans[*span_].to);
  for (const Bus& one : buses_) {
    if (!one.told || one.deaf) continue;
    const auto index = static_cast<BusIndex>(&one - buses_.data());
    if (known_.stood_still(index, one.heard, end)) {
      out_.write_link(one.written, wrote_until_, LinkState::paused);
      continue;
    }
    if (one.link == LinkState::down) out_.write_link(one.written, end, LinkState::up);
    out_.write_link(one.written, end, LinkState::paused);
  }
  span_.reset();
  inside_ = false;
}

bool Slicer::Impl::chosen(BusIndex index, Address address) const {
  const SliceChoice& choice = plan_.choice;
  for (const SliceChoice::Place& place : choice.places)
    if (place.address == address && (!place.bus || *place.bus == index)) return true;
  if (choice.names.empty()) return false;
  const ControllerId owner = known_.network().owner(index, address);
  if (owner == kNobody) return false;
  const Name name = known_.network().controllers()[static_cast<std::size_t>(owner)].name;
  return std::find(choice.names.begin(), choice.names.end(), name) != choice.names.end();
}

bool Slicer::Impl::wanted(const Event& event) {
  if (plan_.choice.everybody() || event.kind != EventKind::frame || !event.is_iso11783())
    return plan_.choice.everybody() || event.kind == EventKind::error;
  const Address destination = destination_of(event.id);
  return chosen(event.bus, source_of(event.id)) ||
         (destination < kNullAddress && chosen(event.bus, destination)) ||
         is_about_the_machine(pgn_of(event.id), destination);
}

// Of those that are left out a frame now and then: it shows that the bus lived while the chosen ones were silent.
bool Slicer::Impl::is_witness(const Bus& from, const Event& event) {
  constexpr SpanNs kNowAndThen = 100 * kMillisecond;
  return event.kind == EventKind::frame && span_between(from.written_at, event.time) >= kNowAndThen;
}

void Slicer::Impl::take(const Event& event) {
  if (is_packet(event) || event.is_timed()) {
    if (!tally_.first) tally_.first = event.time;
    tally_.last = tally_.last ? std::max(*tally_.last, event.time) : event.time;
    now_ = event.time;
    const auto span = span_at(event.time);
    // Buses may be a little out of step: an end is one only if the time is well past it.
    if (span_ &&
        ((span && span != span_) || (!span && event.time > later_by(plan_.spans[*span_].to, kOutOfStep))))
      leave();
    if (span && !span_) {
      // The slice begins where its span does, unless the source begins later or its clock was put back.
      const TimeNs from = plan_.spans[*span].from;
      enter(*span, *tally_.first <= from && wrote_until_ <= from ? from : event.time);
    }
    inside_ = span.has_value();
  }
  known_.take(event);
  if (!is_packet(event)) return take_notice(event);
  Bus& from = bus(event.bus);
  hear(from, event.time);
  if (!inside_ || event.kind == EventKind::foreign || !from.told || !(wanted(event) || is_witness(from, event))) {
    ++tally_.left_out;
    if (inside_ && event.kind == EventKind::foreign) ++tally_.foreign;
    return;
  }
  Event written = event;
  written.bus = from.written;
  from.written_at = event.time;
  out_.write_frame(written, std::exchange(from.lost, 0));
  wrote_until_ = event.time;
  ++tally_.kept;
  ++tally_.by_span[*span_];
}

// A frame, or statistics of the bus.
void Slicer::Impl::hear(Bus& bus, TimeNs time) {
  bus.heard = time;
  if (!inside_ || !bus.told || !std::exchange(bus.deaf, false)) return;
  out_.write_link(bus.written, time, LinkState::up);
  wrote_until_ = time;
}

void Slicer::Impl::take_notice(const Event& event) {
  if (const auto* info = std::get_if<BusInfo>(event.notice)) {
    if (event.bus >= kMaxBuses) return;
    Bus& of = bus(event.bus);
    if (of.told && of.info.bitrate == info->bitrate) return;
    of.told = true;
    of.info = *info;
    of.written = written_buses_++;
    return out_.add_bus(*info);
  }
  if (const auto* counters = std::get_if<Counters>(event.notice)) {
    hear(bus(event.bus), event.time);
    if (!inside_ || !bus(event.bus).told) return;
    out_.write_counters(bus(event.bus).written, event.time, *counters);
    wrote_until_ = event.time;
    return;
  }
  if (const auto* note = std::get_if<RecorderNote>(event.notice)) {
    if (note->kind == RecorderNote::Kind::run_begins) run_ = *note;
    if (note->kind == RecorderNote::Kind::run_ends) run_.reset();
    plan_.stand_ins = plan_.stand_ins || tells_stand_ins(*note);
    if (!inside_ || (note->of_bus && !bus(event.bus).told)) return;
    if (note->kind == RecorderNote::Kind::run_begins) run_written_ = *note;
    out_.write_note(note->of_bus ? bus(event.bus).written : BusIndex{0}, event.time, *note);
    wrote_until_ = event.time;
    return;
  }
  if (const auto* link = std::get_if<LinkChange>(event.notice)) {
    bus(event.bus).link = link->state;
    if (!inside_ || !bus(event.bus).told) return;
    out_.write_link(bus(event.bus).written, event.time, link->state);
    wrote_until_ = event.time;
    return;
  }
  if (!inside_) return;
  if (const auto* lost = std::get_if<FramesLost>(event.notice)) {
    bus(event.bus).lost += lost->frames;
  } else if (const auto* damage = std::get_if<Damage>(event.notice)) {
    RecorderNote note;
    note.kind = RecorderNote::Kind::lost;
    note.number = damage->bytes;
    note.boot = static_cast<std::uint64_t>(damage->kind);
    note.text = damage->reason;
    out_.write_note(0, std::max(now_, wrote_until_), note);
  }
}

SliceTally Slicer::Impl::finish() {
  // A source that ends within the span ends the slice as it ended itself.
  if (span_ && tally_.last && *tally_.last > plan_.spans[*span_].to) leave();
  return tally_;
}

Slicer::Slicer(SlicePlan plan, CaptureWriter& out) : impl_(std::make_unique<Impl>(std::move(plan), out)) {}
Slicer::~Slicer() = default;
void Slicer::take(std::span<const Event> events) {
  for (const Event& event : events) impl_->take(event);
}
SliceTally Slicer::finish() {
  return impl_->finish();
}

}  // namespace tramlog
