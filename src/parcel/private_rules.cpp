#include "parcel/private_rules.hpp"

#include <algorithm>

#include "isobus/device_pool.hpp"
#include "isobus/identification.hpp"
#include "isobus/network.hpp"
#include "isobus/process_data.hpp"
#include "isobus/working_set.hpp"
#include "parcel/private_allowed.hpp"
#include "parcel/private_extent.hpp"
#include "parcel/private_fields.hpp"

namespace tramlog {
namespace {

constexpr Pgn kNmeaProduct = 126996, kNmeaConfiguration = 126998, kProcessData = 0xCB00;
constexpr Pgn kRapidPosition = 129025, kPositionData = 129029, kVehiclePosition = 0xFEF3,
              kVehicleDirection = 0xFEE8;
constexpr Pgn kToFileServer = 0xAA00, kFromFileServer = 0xAB00, kToTerminal = 0xE700, kFromTerminal = 0xE600;
constexpr std::uint8_t kUnavailable = 0xFF;
constexpr std::size_t kNameBytes = 8;

/// 126996: serial code of the model (NMEA 2000, 32 bytes).
constexpr std::size_t kNmeaSerialAt = 100, kNmeaSerialBytes = 32;

void fill_from(std::span<std::uint8_t> data, std::size_t at) {
  if (at < data.size()) std::fill(data.begin() + static_cast<std::ptrdiff_t>(at), data.end(), kUnavailable);
}

/// Calls `use(offset, length)` with each serial's field.
template <class Use>
void for_each_serial(Pgn pgn, Bytes data, Use use) {
  if (pgn == kNmeaProduct) {
    if (data.size() > kNmeaSerialAt)
      use(kNmeaSerialAt, std::min(kNmeaSerialBytes, data.size() - kNmeaSerialAt));
    return;
  }
  const TextFields* fields = text_fields(pgn);
  if (fields == nullptr) return;
  // Somebody may say the fields again for the next unit: these are blanked, but the serials are learned.
  std::size_t field = 0;
  for_each_text_field(data, [&](std::size_t at, std::size_t length) {
    const std::size_t which = field++ % fields->count;
    if (which >= fields->first_serial && which <= fields->last_serial) use(at, length);
  });
}

/// Whether makers write in it what they like, as text.
bool is_text(Pgn pgn) {
  return pgn == kPgnSoftwareIdentification || pgn == kNmeaProduct || text_fields(pgn) != nullptr;
}

bool is_label(Pgn pgn, Bytes data) {
  return pgn == kProcessData && data.size() >= 8 &&
         (data[0] == static_cast<std::uint8_t>(DescriptorMessage::structure_label) ||
          data[0] == static_cast<std::uint8_t>(DescriptorMessage::request_structure_label));
}

/// Where a NAME stands in messages that carry one.
bool begins_with_name(Pgn pgn) {
  return pgn == kPgnAddressClaimed || pgn == kPgnCommandedAddress || pgn == kPgnWorkingSetMember;
}

/// Installation descriptions are notes of people: each text is length (with this byte and the next), kind,
/// bytes.
void blank_texts(std::span<std::uint8_t> data) {
  for (std::size_t at = 0; at + 2 <= data.size();) {
    const std::size_t length = std::max<std::size_t>(data[at], 2);
    const std::size_t end = std::min(at + length, data.size());
    std::fill(data.begin() + static_cast<std::ptrdiff_t>(at + 2),
              data.begin() + static_cast<std::ptrdiff_t>(end), std::uint8_t{'-'});
    at = end;
  }
}

/// What is left of a message of which only the first bytes are harmless: 0 = it is not one of these.
std::size_t harmless_bytes(Pgn pgn) {
  switch (pgn) {
    case kToFileServer:
      return 2;  // function, transaction
    case kFromFileServer:
      return 3;  // function, transaction, error; or status, busy, open files
    case 126208:
      return 4;  // function, PGN
    case 129044:
      return 1;  // datum: offsets of the place
    case 129284:
      return 1;  // navigation data: the destination
    case 129540:
      return 3;  // satellites in view: where they stand tells where the receiver is
    default:
      return 0;
  }
}

void set_constant(std::span<std::uint8_t> data, std::size_t at, std::uint16_t value,
                  std::uint16_t first_special) {
  if (data.size() < at + 2 || load_le16(data.data() + at) >= first_special) return;
  data[at] = static_cast<std::uint8_t>(value);
  data[at + 1] = static_cast<std::uint8_t>(value >> 8);
}

/// How far magnetic north is from true north belongs to a place.
void clear_variation(std::span<std::uint8_t> data, std::size_t at) {
  if (data.size() < at + 2 || load_le16(data.data() + at) == 0x7FFF) return;
  data[at] = data[at + 1] = 0;
}

}  // namespace

bool PrivateRules::is_opaque(const MessageHead& head) {
  return !is_looked_at(head.pgn);
}

bool PrivateRules::learn(const MessageHead& head, Bytes data, PrivateTerms& terms) {
  bool room = true;
  if (begins_with_name(head.pgn) && data.size() >= kNameBytes)
    room = terms.learn_name(Name::from_claim(data.data())) && room;
  for_each_serial(head.pgn, data, [&](std::size_t at, std::size_t length) {
    room = terms.learn_serial(data.subspan(at, length)) && room;
  });
  if (head.pgn == kProcessData && data.size() >= 8) {
    if (data[0] == static_cast<std::uint8_t>(DescriptorMessage::transfer))
      room = learn_pool(data.subspan(1), terms) && room;
    if (is_label(head.pgn, data)) terms.learn_label(data.subspan(1, 7));
  }
  return room;
}

void PrivateRules::rewrite(const MessageHead& head, std::span<std::uint8_t> data, const PrivateTerms& terms) {
  if (is_opaque(head)) return fill_from(data, 0);
  fill_from(data, known_bytes(head.pgn, data));
  if (const std::size_t kept = harmless_bytes(head.pgn); kept != 0) return fill_from(data, kept);
  switch (head.pgn) {
    case kRapidPosition:
      return rewrite_rapid_position(head, data);
    case kPositionData:
      return rewrite_position_data(head, data);
    case kVehiclePosition:
      return rewrite_vehicle_position(head, data);
    case kVehicleDirection:
      return set_constant(data, 6, 20'000, 0xFB00);  // altitude 0 m: 0.125 m from -2,500
    case 127250:
      return clear_variation(data, 5);
    case 127258:
      return clear_variation(data, 4);
    case kNmeaConfiguration:
      return blank_texts(data);
    case kToTerminal:
    case kFromTerminal:
      if (!data.empty()) fill_from(data, harmless_terminal_bytes(head.pgn, data[0]));
      break;
    case kProcessData:
      if (const std::size_t kept = data.empty() ? 0 : harmless_process_bytes(data[0]); kept != 0)
        fill_from(data, kept);
      break;
    default:
      break;
  }
  if (begins_with_name(head.pgn)) {
    if (data.size() < kNameBytes) return fill_from(data, 0);  // part of a NAME
    store_le64(data.data(), terms.stand_in(Name::from_claim(data.data())).raw());
    return fill_from(data, head.pgn == kPgnCommandedAddress ? kNameBytes + 1 : kNameBytes);
  }
  for_each_serial(head.pgn, data,
                  [&](std::size_t at, std::size_t length) { terms.replace_field(data.subspan(at, length)); });
  if (head.pgn == kProcessData && data.size() > 1 &&
      data[0] == static_cast<std::uint8_t>(DescriptorMessage::transfer))
    rewrite_transfer(head, data.subspan(1), terms);
  replace_known(head, data, terms);
}

bool PrivateRules::replace_known(const MessageHead& head, std::span<std::uint8_t> data,
                                 const PrivateTerms& terms) {
  return is_text(head.pgn) || is_label(head.pgn, data) ? terms.replace_in_text(data)
                                                       : terms.replace_within(data);
}

void PrivateRules::rewrite_transfer(const MessageHead& head, std::span<std::uint8_t> pool,
                                    const PrivateTerms& terms) {
  const std::tuple<BusIndex, Address, Address> line{head.bus, head.source, head.destination};
  const bool continued = cut_devices_.erase(line) != 0;
  const std::size_t rest = continued ? rest_of_object(pool) : 0;
  // All of it may be the rest, and more of it come.
  if (cut_device(pool) || (continued && rest == pool.size())) cut_devices_.insert(line);
  constexpr std::size_t kEndBytes = 200;  // of a text that was cut
  if (ends_.size() >= kMostEnds) ends_.clear();
  std::vector<std::uint8_t>& end = ends_[line];
  std::vector<std::uint8_t> joined = end;
  joined.insert(joined.end(), pool.begin(), pool.end());
  const std::vector<std::uint8_t> before(pool.begin(), pool.end());
  const std::size_t begun = terms.begun_at_end(joined);
  const std::vector<std::uint8_t> next_end(
      joined.end() - static_cast<std::ptrdiff_t>(std::min(joined.size(), kEndBytes)), joined.end());
  if (!end.empty() && terms.replace_in_text(joined)) {
    const std::size_t told = std::min(kEndBytes, pool.size());
    std::copy_n(joined.begin() + static_cast<std::ptrdiff_t>(end.size()), told, pool.begin());
  }
  end = next_end;
  rewrite_pool(pool, terms);
  for (std::size_t i = pool.size() - std::min(begun, pool.size()); i < pool.size(); ++i)
    if (pool[i] == before[i]) pool[i] = '?';
  std::fill_n(pool.begin(), rest, kUnavailable);  // no length of a text: nobody reads a NAME there
}

bool PrivateRules::learn_pool(Bytes pool, PrivateTerms& terms) {
  bool room = true;
  for_each_device(pool, [&](const DeviceFields& device) {
    room = terms.learn_name(Name::from_claim(pool.data() + device.name_at)) && room;
    room = terms.learn_serial(pool.subspan(device.serial_at, device.serial_bytes)) && room;
    if (pool.size() >= device.label_at + 7) terms.learn_label(pool.subspan(device.label_at, 7));
  });
  return room;
}

void PrivateRules::rewrite_pool(std::span<std::uint8_t> pool, const PrivateTerms& terms) {
  for_each_device(pool, [&](const DeviceFields& device) {
    std::uint8_t* name = pool.data() + device.name_at;
    store_le64(name, terms.stand_in(Name::from_claim(name)).raw());
    terms.replace_field(pool.subspan(device.serial_at, device.serial_bytes));
  });
  if (const auto from = cut_device(pool)) fill_from(pool, *from);
  terms.replace_in_text(pool);
}

}  // namespace tramlog
