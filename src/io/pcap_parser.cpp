#include "io/pcap_parser.hpp"

#include <algorithm>
#include <bit>
#include <utility>

#include "io/pcapng_format.hpp"
#include "io/pcapng_scan.hpp"
#include "io/socketcan_packet.hpp"

namespace tramlog {
namespace {

constexpr std::uint32_t kMicroMagic = 0xA1B2C3D4, kNanoMagic = 0xA1B23C4D;
constexpr std::uint16_t kMajor = 2, kMinor = 4;
constexpr std::uint32_t kLinkTypeMask = 0xFFFF;
constexpr std::size_t kRecordBytes = 16;
constexpr std::uint32_t kLongestCanPacket = 2080;     // CAN XL with its header
constexpr std::uint32_t kLongestPacket = 256 * 1024;  // of other link types
constexpr std::size_t kPairBytes = 2 * (kRecordBytes + socketcan::kFdPacket);
constexpr std::uint32_t kNeighbourSeconds = 86400;
constexpr std::size_t kSearchChunk = 64 * 1024;
constexpr std::size_t kSearchView = kSearchChunk + 4096;
constexpr const char* kEndsInside = "file ends inside a packet record";

std::uint32_t apart(std::uint32_t a, std::uint32_t b) {
  return std::max(a, b) - std::min(a, b);
}

unsigned wrong_bytes(std::uint32_t a, std::uint32_t b) {
  unsigned wrong = 0;
  for (std::uint32_t differing = a ^ b; differing != 0; differing >>= 8) wrong += (differing & 0xFF) != 0;
  return wrong;
}

}  // namespace

PcapHeader PcapHeader::parse(const std::uint8_t* at) {
  PcapHeader best;
  const auto magic = load_native<std::uint32_t>(at);
  for (const bool swapped : {false, true}) {
    for (const bool nano : {false, true}) {
      const std::uint32_t expected = nano ? kNanoMagic : kMicroMagic;
      const unsigned wrong = wrong_bytes(magic, swapped ? swap_bytes(expected) : expected);
      const auto link = static_cast<std::uint16_t>(pcapng::load32(at + 20, swapped) & kLinkTypeMask);
      // One wrong byte is forgiven if the rest of the header is as it must be.
      if (wrong > 1 ||
          (wrong == 1 && (pcapng::load16(at + 4, swapped) != kMajor ||
                          pcapng::load16(at + 6, swapped) != kMinor || link != pcapng::kLinkTypeSocketCan)))
        continue;
      best = {true, swapped, nano, wrong == 1, link};
      if (wrong == 0) return best;
    }
  }
  return best;
}

bool PcapParser::fill(EventBatch& batch) {
  while (batch.has_room()) {
    const Step step = in_damage() ? search(batch) : has_header_ ? record(batch) : header(batch);
    if (step == Step::deliver) return true;
    if (step == Step::finished) return false;
  }
  return true;
}

CaptureParser::Step PcapParser::header(EventBatch& batch) {
  const Need need_header = need(batch, PcapHeader::kBytes);
  if (need_header == Need::deliver) return Step::deliver;
  if (need_header == Need::ended) {
    begin_damage("file ends inside its header");
    window_.advance(window_.available());
    end_damage(batch, true);
    return Step::finished;
  }
  header_ = PcapHeader::parse(window_.at());
  has_header_ = true;
  fraction_scale_ = TickScale(header_.nanoseconds ? 9 : 6, 0);
  if (header_.link_type != pcapng::kLinkTypeSocketCan) {
    other_link_type_ = header_.link_type;
  } else {
    has_can_ = true;
    const BusInfo info{"bus0", 0};
    if (sink_ != nullptr) {
      InterfaceWords words;
      words.resolution = header_.nanoseconds ? 9 : 6;
      sink_->interface({}, words, false);
    }
    const auto place = buses_.place(info);
    if (place) bus_ = place->index;
    if (place && place->announce) batch.add_notice(last_time_, bus_, info);
  }
  if (header_.repaired)
    tell_damage(batch, window_.offset(), 4, "a wrong byte in the magic number of the file");
  window_.advance(PcapHeader::kBytes);
  return Step::again;
}

PcapParser::Record PcapParser::load(const std::uint8_t* at) const {
  return {pcapng::load32(at, header_.swapped), pcapng::load32(at + 4, header_.swapped),
          pcapng::load32(at + 8, header_.swapped), pcapng::load32(at + 12, header_.swapped)};
}

/// What every record of a healthy file fulfils; a time that jumps is allowed.
bool PcapParser::could_be(const Record& record) const {
  return record.fraction < (header_.nanoseconds ? 1'000'000'000u : 1'000'000u) &&
         record.stored <= record.original &&
         record.original <= (has_can_ ? kLongestCanPacket : kLongestPacket);
}

/// No writer stores nothing at the start of 1970.
bool PcapParser::is_nothing(const Record& record) {
  return record.seconds == 0 && record.original == 0;
}

bool PcapParser::near_last(std::uint32_t seconds) const {
  return !has_last_ || apart(seconds, last_seconds_) <= kNeighbourSeconds;
}

/// A record whose time jumps or that is longer than usual counts only if the next one starts where it ends.
/// The window holds that, or the file ends.
bool PcapParser::confirmed(const Record& record, std::size_t bytes) const {
  if (has_can_ && !socketcan::plausible(window_.at() + kRecordBytes, record.stored)) return false;
  if (window_.available() < bytes + kRecordBytes) return window_.available() == bytes;
  const Record next = load(window_.at() + bytes);
  return could_be(next) &&
         (near_last(next.seconds) || apart(next.seconds, record.seconds) <= kNeighbourSeconds);
}

/// For the search: a CAN packet that agrees with itself, and another one behind it at a time nearby.
bool PcapParser::convincing(const std::uint8_t* at, std::size_t available, bool nothing_follows) const {
  std::uint32_t seconds = 0;
  for (int i = 0; i < 2; ++i) {
    if (i == 1 && available == 0 && nothing_follows) return true;
    if (available < kRecordBytes + socketcan::kHeaderBytes) return i == 1 && nothing_follows;
    const Record record = load(at);
    const std::uint8_t* const packet = at + kRecordBytes;
    if (!could_be(record) || record.original > socketcan::kFdPacket ||
        !socketcan::plausible(packet, record.stored))
      return false;
    const std::uint32_t held = record.stored - socketcan::kHeaderBytes;
    if (held != socketcan::kClassicPayload && held != socketcan::kFdPayload && held != packet[4])
      return false;
    const std::uint32_t near_to = i == 1 ? seconds : last_seconds_;
    if ((i == 1 || has_last_) && apart(record.seconds, near_to) > kNeighbourSeconds) return false;
    seconds = record.seconds;
    const std::size_t bytes = kRecordBytes + record.stored;
    if (bytes > available) return i == 1 && nothing_follows;
    at += bytes;
    available -= bytes;
  }
  return true;
}

CaptureParser::Step PcapParser::record(EventBatch& batch) {
  switch (need(batch, kRecordBytes)) {
    case Need::deliver:
      return Step::deliver;
    case Need::ended:
      search_first_ = 0;
      if (window_.available() == 0) return go_past_tail() ? Step::again : Step::finished;
      begin_damage(kEndsInside);
      ends_inside_ = true;
      search_first_ = 1;
      return Step::again;
    case Need::ready:
      break;
  }
  const Record found = load(window_.at());
  search_first_ = 1;
  if (!std::exchange(followed_, false) && (!could_be(found) || is_nothing(found))) {
    begin_damage(is_nothing(found) ? "zeros instead of a packet record" : "a packet record that cannot be");
    return Step::again;
  }
  const std::size_t bytes = kRecordBytes + found.stored;
  const Need whole = need(batch, bytes);
  if (whole == Need::deliver) return Step::deliver;
  if (whole == Need::ended) {
    begin_damage(kEndsInside);
    ends_inside_ = true;
    return Step::again;
  }
  if (!near_last(found.seconds) || (has_can_ && found.original > socketcan::kFdPacket)) {
    if (need(batch, bytes + kRecordBytes) == Need::deliver) return Step::deliver;
    if (!confirmed(found, bytes)) {
      begin_damage("a strange packet record with nothing behind it");
      return Step::again;
    }
  }
  if (const Need behind = need(batch, bytes + kRecordBytes); behind == Need::deliver)
    return Step::deliver;
  else if (has_can_ && !is_followed(found, bytes, behind == Need::ended)) {
    const Need view = need(batch, bytes + kPairBytes);
    if (view == Need::deliver) return Step::deliver;
    if (const std::size_t inner = pair_within(found, bytes, view == Need::ended); inner != 0) {
      begin_damage("a packet record with the next one inside");
      search_first_ = inner;
      return Step::again;
    }
  } else
    followed_ = has_can_ && behind == Need::ready;
  emit(batch, found, window_.at() + kRecordBytes);
  window_.advance(bytes);
  return Step::again;
}

/// Where what follows is a record, too, this one has the length that it tells.
bool PcapParser::is_followed(const Record& record, std::size_t bytes, bool ended) const {
  if (ended) return window_.available() == bytes;
  const Record next = load(window_.at() + bytes);
  return could_be(next) && !is_nothing(next) && apart(next.seconds, record.seconds) <= kNeighbourSeconds;
}

/// Bytes are missing within a record if two good ones in a row, neither of them earlier than its predecessor,
/// begin before it ends: offset of the first, 0 if there is none. Times that are not in order would say that
/// the bytes are missing at the begin of the next record's time, and this one is whole. Never more than
/// kPairBytes behind the record are looked at: what is found must not depend on how the bytes arrived.
std::size_t PcapParser::pair_within(const Record& record, std::size_t bytes, bool ended) const {
  const auto in_order = [](const Record& a, const Record& b) {
    return std::pair(a.seconds, a.fraction) <= std::pair(b.seconds, b.fraction);
  };
  const std::size_t available = ended ? window_.available() : bytes + kPairBytes;
  for (std::size_t at = 1; at < bytes; ++at) {
    if (!convincing(window_.at() + at, available - at, ended)) continue;
    const Record first = load(window_.at() + at);
    const std::size_t behind = at + kRecordBytes + first.stored;
    const bool has_second = behind + kRecordBytes <= available;
    if (in_order(record, first) && (!has_second || in_order(first, load(window_.at() + behind)))) return at;
  }
  return 0;
}

void PcapParser::emit(EventBatch& batch, const Record& record, const std::uint8_t* packet) {
  // One damaged time must not lead the search astray: a jump counts once a second record confirms it.
  if (near_last(record.seconds) || apart(record.seconds, jump_seconds_) <= kNeighbourSeconds) {
    last_seconds_ = record.seconds;
    has_last_ = true;
  }
  jump_seconds_ = record.seconds;
  last_time_ =
      std::min(TimeNs{record.seconds} * kSecond + fraction_scale_.to_time(record.fraction), kTimeLimit);
  if (sink_ != nullptr)
    sink_->record({record.seconds, record.fraction, record.original, {packet, record.stored}}, last_time_);
  Event& event = batch.add_packet();
  event.time = last_time_;
  event.bus = bus_;
  event.kind = EventKind::foreign;
  if (has_can_) socketcan::decode(packet, record.stored, record.original, event);
  count(event);
}

CaptureParser::Step PcapParser::search(EventBatch& batch) {
  const Need view = need(batch, kSearchView);
  if (view == Need::deliver) return Step::deliver;
  // Never more than the view: what is found must not depend on how the bytes arrived.
  const std::size_t available = std::min(window_.available(), kSearchView);
  const bool ended = view == Need::ended;
  const std::size_t range = ended ? available : kSearchChunk;
  std::size_t at = search_first_;
  while (at < range && !convincing(window_.at() + at, available - at, ended)) ++at;
  at = std::min(at, range);  // search_first_ may be past the end
  window_.advance(at);
  search_first_ = 0;
  if (at < range) {
    if (ends_inside_) damage_reason_ = "a packet record that is longer than the rest of the file";
    end_damage(batch);
    return Step::again;
  }
  if (!ended || go_past_tail()) return Step::again;
  end_damage(batch, true);
  return Step::finished;
}

}  // namespace tramlog
