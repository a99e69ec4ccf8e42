#include "parcel/private_bus.hpp"

#include <algorithm>
#include <set>
#include <string_view>

#include "isobus/process_data.hpp"
#include "parcel/private_frames.hpp"

namespace tramlog {
namespace {

constexpr std::size_t kMaxOpaque = 65536;  // identifiers whose changes are followed
constexpr std::uint8_t kBlank = 0xFF;
constexpr Pgn kTpData = 0xEB00, kEtpData = 0xC700;

MessageHead head_of(const Event& frame) {
  return {frame.bus, pgn_of(frame.id), source_of(frame.id), destination_of(frame.id)};
}
MessageHead head_of(const Message& message) {
  return {message.bus, message.pgn, message.source, message.destination};
}

constexpr std::size_t kMostPoolsAtOnce = 64, kMostPoolBytes = 32 << 20;  // that slices carry

/// Notes that the recorder makes of itself. Others hold what people wrote, or what nobody here can read.
bool is_of_recorder(RecorderNote::Kind kind) {
  using Kind = RecorderNote::Kind;
  return kind == Kind::run_begins || kind == Kind::run_ends || kind == Kind::clock_stepped ||
         kind == Kind::not_recorded || kind == Kind::disk || kind == Kind::interface || kind == Kind::cut ||
         kind == Kind::known || kind == Kind::lost;
}

/// A message that a slice carries from before its begin.
const RecorderNote* known_note(const Event& event) {
  if (event.kind != EventKind::notice) return nullptr;
  const auto* note = std::get_if<RecorderNote>(event.notice);
  if (note == nullptr || note->kind != RecorderNote::Kind::known) return nullptr;
  // Parts of a device description are no messages of their own.
  return note->number < RecorderNote::kNoPgn && note->number != kPgnProcessData ? note : nullptr;
}

const RecorderNote* pool_part(const Event& event) {
  if (event.kind != EventKind::notice) return nullptr;
  const auto* note = std::get_if<RecorderNote>(event.notice);
  const bool is =
      note != nullptr && note->kind == RecorderNote::Kind::known && note->number == kPgnProcessData;
  return is ? note : nullptr;
}

MessageHead head_of(const Event& event, const RecorderNote& known) {
  return {event.bus, static_cast<Pgn>(known.number), known.address, kGlobalAddress};
}

Bytes bytes_of(const RecorderNote& known) {
  return {reinterpret_cast<const std::uint8_t*>(known.data.data()), known.data.size()};
}

/// Those that a slice was made for: NAMEs get their stand-ins, what is neither NAME nor address goes.
void rewrite_chosen(std::string& data, const PrivateTerms& terms) {
  constexpr std::size_t kChosen = 9;  // bytes of each (can/event.hpp)
  std::string made;
  for (std::size_t at = 0; at + kChosen <= data.size(); at += kChosen) {
    if (data[at] == 'N') {
      const Name name =
          terms.stand_in(Name::from_claim(reinterpret_cast<const std::uint8_t*>(data.data()) + at + 1));
      made += 'N';
      for (unsigned i = 0; i < 8; ++i) made += static_cast<char>(name.raw() >> 8 * i);
    } else if (data[at] == 'A') {
      made += {'A', data[at + 1], 0, 0, 0, 0, 0, 0, 0};
    }
  }
  data = std::move(made);
}

/// The recorder quotes paths, the system's messages and names of interfaces; what is said here instead.
const char* words_for(RecorderNote::Kind kind) {
  using Kind = RecorderNote::Kind;
  switch (kind) {
    case Kind::run_begins:
    case Kind::run_ends:
      return "why is left out";
    case Kind::not_recorded:
      return "the disk was not ready";
    case Kind::disk:
      return "its state changed";
    case Kind::interface:
      return "its state or settings changed";
    case Kind::cut:
      return "its name is left out";
    case Kind::lost:
      return "it was damaged";
    case Kind::mark:
    case Kind::clock_stepped:
    case Kind::known:
      break;
  }
  return "";
}

/// "can0", "vcan1": what a kernel or this program calls a bus by itself says which bus it is and not whose.
/// More digits than a machine has buses may be a serial.
bool is_plain(std::string_view name) {
  constexpr std::string_view kGivenByItself[] = {"can", "vcan", "vxcan", "slcan", "bus"};
  constexpr std::size_t kMostDigits = 3;
  const auto digits = std::min(name.find_first_of("0123456789"), name.size());
  const std::string_view number = name.substr(digits);
  return !number.empty() && number.size() <= kMostDigits &&
         number.find_first_not_of("0123456789") == std::string_view::npos &&
         std::find(std::begin(kGivenByItself), std::end(kGivenByItself), name.substr(0, digits)) !=
             std::end(kGivenByItself);
}

}  // namespace

class PrivateBus::Learning final : public TransferSink {
 public:
  explicit Learning(PrivateBus& bus) : transfers(*this, {}, bus.long_pgns_), bus_(bus) {}
  void on_message(const Message& message) override {
    bus_.room_ = PrivateRules::learn(head_of(message), message.data, bus_.terms_) && bus_.room_;
  }
  void on_transfer_end(const TransferEnd&) override {}
  Transfers transfers;

 private:
  PrivateBus& bus_;
};

class PrivateBus::Planning final : public TransferSink {
 public:
  explicit Planning(PrivateBus& bus) : transfers(*this, {}, bus.long_pgns_), bus_(bus) {}
  void on_message(const Message& message) override { bus_.plan_message(message); }
  void on_transfer_end(const TransferEnd&) override {}
  Transfers transfers;

 private:
  PrivateBus& bus_;
};

PrivateBus::PrivateBus(const Schema& schema, PrivateTerms terms)
    : terms_(std::move(terms)), long_pgns_(schema.long_page_1_pgns()) {
  std::sort(long_pgns_.begin(), long_pgns_.end());
  learning_ = std::make_unique<Learning>(*this);
}
PrivateBus::~PrivateBus() = default;

bool PrivateBus::is_packet(const Event& frame, bool& fast) const {
  const Pgn pgn = pgn_of(frame.id);
  fast = Transfers::is_fast_packet(pgn) || std::binary_search(long_pgns_.begin(), long_pgns_.end(), pgn);
  return fast || Transfers::is_transport(pgn);
}

void PrivateBus::learn(std::span<const Event> events) {
  for (const Event& event : events) {
    if (event.kind == EventKind::notice)
      if (const auto* bus = std::get_if<BusInfo>(event.notice)) bus_names_.try_emplace(event.bus, bus->name);
    if (const RecorderNote* note = known_note(event))
      room_ = PrivateRules::learn(head_of(event, *note), bytes_of(*note), terms_) && room_;
    if (const RecorderNote* note = pool_part(event)) learn_pool_part(*note);
    if (!event.is_iso11783()) continue;
    bool fast = false;
    if (is_packet(event, fast))
      learning_->transfers.take(event);
    else
      room_ = PrivateRules::learn(head_of(event), {event.data, event.len}, terms_) && room_;
  }
}

bool PrivateBus::settle() {
  learning_.reset();
  terms_.settle();
  conceal_pools();
  name_buses();
  planning_ = std::make_unique<Planning>(*this);
  return room_;
}

void PrivateBus::name_buses() {
  std::set<std::string> taken;
  for (const auto& [bus, name] : bus_names_)
    if (is_plain(name)) taken.insert(name);
  std::size_t next = 0;
  for (auto& [bus, name] : bus_names_) {
    if (is_plain(name)) continue;
    do name = "can" + std::to_string(next++);
    while (taken.contains(name));
  }
}

void PrivateBus::plan(std::span<const Event> events) {
  for (const Event& event : events) {
    bool fast = false;
    if (!event.is_iso11783() || !is_packet(event, fast)) continue;
    trail_.take(event, fast);
    planning_->transfers.take(event);
  }
}

void PrivateBus::planned() {
  planning_.reset();
  trail_ = {};
  std::stable_sort(rewritten_.begin(), rewritten_.end(),
                   [](const Rewritten& a, const Rewritten& b) { return a.frame < b.frame; });
  restart();
}

void PrivateBus::plan_message(const Message& message) {
  std::vector<std::uint8_t> made(message.data.begin(), message.data.end());
  planned_rules_.rewrite(head_of(message), made, terms_);
  for (const TrailPacket& packet : trail_.packets_of(message)) {
    Rewritten frame{packet.frame, packet.payload};
    // Behind the end of the message a packet holds what its sender had lying there.
    for (std::size_t i = packet.skip; i < packet.len; ++i) {
      const std::size_t at = packet.offset + i - packet.skip;
      frame.payload[i] = at < made.size() ? made[at] : kBlank;
    }
    if (frame.payload != packet.payload) {
      if (rewritten_.size() >= kMaxRewritten) continue;  // not cleared: it will be blanked
      rewritten_.push_back(frame);
    }
    clear_frame(packet.frame);
  }
}

void PrivateBus::clear_frame(std::uint64_t frame) {
  if (frame >= cleared_.size()) cleared_.resize(std::max<std::size_t>(frame + 1, cleared_.size() * 2));
  cleared_[frame] = true;
}

bool PrivateBus::is_cleared(std::uint64_t frame) const {
  return frame < cleared_.size() && cleared_[frame];
}

void PrivateBus::restart() {
  rules_ = {};
  opaque_.clear();
  tally_ = {};
}

std::span<const Event> PrivateBus::conceal(std::span<const Event> events) {
  out_.clear();
  notices_.clear();
  payloads_.resize(std::max(payloads_.size(), events.size()));
  for (const Event& event : events) {
    Event shown = event;
    if (event.kind == EventKind::notice) {
      if (const auto* note = std::get_if<RecorderNote>(event.notice)) {
        if (!is_of_recorder(note->kind)) {
          ++tally_.notes;
          continue;
        }
        shown.notice = &notices_.emplace_back(concealed(event, *note));
      } else if (const auto* bus = std::get_if<BusInfo>(event.notice)) {
        const auto named = bus_names_.find(event.bus);
        BusInfo made = *bus;
        made.name = named == bus_names_.end() ? "bus" + std::to_string(event.bus) : named->second;
        shown.notice = &notices_.emplace_back(std::move(made));
      }
    } else if (event.data != nullptr) {
      std::array<std::uint8_t, 64>& payload = payloads_[out_.size()];
      payload.fill(0);
      const std::size_t len = std::min<std::size_t>(event.len, payload.size());
      std::copy_n(event.data, len, payload.begin());
      const std::span<std::uint8_t> data{payload.data(), len};
      if (event.kind == EventKind::error)
        blank_undefined_errors(event.id, data);
      else if (event.kind != EventKind::frame || (event.flags & kRemote) != 0)
        std::fill(data.begin(), data.end(), std::uint8_t{0});  // no data was on the wire
      else
        conceal_frame(event, data);
      shown.data = payload.data();
    }
    out_.push_back(shown);
  }
  return out_;
}

RecorderNote PrivateBus::concealed(const Event& event, const RecorderNote& note) {
  RecorderNote made = note;
  if (known_note(event) != nullptr)
    rules_.rewrite(head_of(event, note),
                   {reinterpret_cast<std::uint8_t*>(made.data.data()), made.data.size()}, terms_);
  else if (pool_part(event) != nullptr) {
    if (const auto part = concealed_parts_.find(note.data); part != concealed_parts_.end())
      made.data = part->second;
    else
      made.data.clear();
  } else if (note.kind == RecorderNote::Kind::cut)
    rewrite_chosen(made.data, terms_);
  else
    made.data.clear();
  if (!made.text.empty()) made.text = words_for(note.kind);
  return made;
}

void PrivateBus::learn_pool_part(const RecorderNote& note) {
  const auto head = read_pool_part(bytes_of(note));
  if (!head) return;
  std::vector<std::string>& parts = parts_begun_[head->client.raw()];
  if (head->from == 0) parts.clear();
  if (parts_begun_.size() > kMostPoolsAtOnce || pool_bytes_ + note.data.size() > kMostPoolBytes) return;
  pool_bytes_ += note.data.size();
  parts.push_back(note.data);
  auto whole = pool_parts_.take(bytes_of(note));
  if (!whole) return;
  room_ = PrivateRules::learn_pool(whole->bytes, terms_) && room_;
  pools_.emplace_back(std::move(parts), std::move(*whole));
  parts_begun_.erase(head->client.raw());
}

// What was never whole has no concealed part, and goes.
void PrivateBus::conceal_pools() {
  for (auto& [parts, pool] : pools_) {
    PrivateRules::rewrite_pool(pool.bytes, terms_);
    auto concealed = pool_parts(terms_.stand_in(pool.client), pool.bytes, RecorderNote::kMostData);
    if (concealed.size() != parts.size()) continue;
    for (std::size_t i = 0; i < parts.size(); ++i) concealed_parts_[parts[i]] = std::move(concealed[i]);
  }
  pools_.clear();
}

void PrivateBus::conceal_frame(const Event& frame, std::span<std::uint8_t> data) {
  bool fast = false;
  if (!frame.is_iso11783()) return conceal_opaque(frame, data);
  if (is_packet(frame, fast)) return conceal_packet(frame, data, fast);
  const MessageHead head = head_of(frame);
  if (rules_.is_opaque(head)) return conceal_opaque(frame, data);
  rules_.rewrite(head, data, terms_);
}

void PrivateBus::conceal_packet(const Event& frame, std::span<std::uint8_t> data, bool fast) {
  const Pgn pgn = pgn_of(frame.id);
  if (!fast && pgn != kTpData && pgn != kEtpData) return blank_undefined_control(pgn, data);
  if (is_cleared(frame.number)) {
    const auto found =
        std::lower_bound(rewritten_.begin(), rewritten_.end(), frame.number,
                         [](const Rewritten& r, std::uint64_t number) { return r.frame < number; });
    if (found != rewritten_.end() && found->frame == frame.number)
      std::copy_n(found->payload.begin(), std::min<std::size_t>(data.size(), 8), data.begin());
    return;
  }
  ++tally_.blanked_packets;
  const std::size_t kept = fast && !data.empty() && (data[0] & 0x1F) == 0 ? 2 : 1;
  if (data.size() > kept) std::fill(data.begin() + static_cast<std::ptrdiff_t>(kept), data.end(), kBlank);
}

void PrivateBus::conceal_opaque(const Event& frame, std::span<std::uint8_t> data) {
  ++tally_.blanked;
  const std::uint64_t key = std::uint64_t{frame.bus} << 32 | frame.id | std::uint64_t{frame.flags} << 48;
  std::uint64_t changes = 0;
  if (opaque_.size() < kMaxOpaque || opaque_.contains(key)) {
    Opaque& followed = opaque_[key];
    if (followed.len != data.size() || !std::equal(data.begin(), data.end(), followed.last.begin())) {
      std::copy(data.begin(), data.end(), followed.last.begin());
      followed.len = static_cast<std::uint8_t>(data.size());
      ++followed.changes;
    }
    changes = followed.changes;
  }
  std::fill(data.begin(), data.end(), std::uint8_t{0});
  for (std::size_t i = 0; i < std::min<std::size_t>(data.size(), 8); ++i)
    data[i] = static_cast<std::uint8_t>(changes >> (8 * i));
}

PrivateTally PrivateBus::tally() const {
  PrivateTally tally = tally_;
  tally.positions = rules_.positions() + planned_rules_.positions();
  return tally;
}

}  // namespace tramlog
