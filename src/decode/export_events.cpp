#include "decode/export_events.hpp"

#include <array>

#include "base/text.hpp"
#include "decode/words.hpp"

namespace tramlog {
namespace {

enum Place : std::size_t {
  kTime,
  kBus,
  kFrame,
  kKind,
  kText,
  kErrorClass,
  kErrorData,
  kReceived,
  kInterfaceDropped,
  kSystemDropped,
  kFramesLost,
  kLink,
  kDamageOffset,
  kDamageBytes,
  kPlaces
};

/// Counters of hostile captures may be larger than a signed number: they are cut.
Cell count(std::uint64_t value) {
  return Cell::of_integer(value > INT64_MAX ? INT64_MAX : static_cast<std::int64_t>(value));
}

void tell_notice(const Notice& notice, std::array<Cell, kPlaces>& cells) {
  const auto kind = [&](std::string_view word) { cells[kKind] = Cell::of_text(word); };
  if (const auto* counters = std::get_if<Counters>(&notice)) {
    kind("statistics");
    if (counters->received) cells[kReceived] = count(*counters->received);
    if (counters->interface_dropped) cells[kInterfaceDropped] = count(*counters->interface_dropped);
    if (counters->system_dropped) cells[kSystemDropped] = count(*counters->system_dropped);
  } else if (const auto* change = std::get_if<LinkChange>(&notice)) {
    kind("link");
    cells[kLink] = Cell::of_text(change->state == LinkState::up     ? "up"
                                 : change->state == LinkState::down ? "down"
                                                                    : "paused");
  } else if (const auto* lost = std::get_if<FramesLost>(&notice)) {
    kind("frames-lost");
    cells[kFramesLost] = count(lost->frames);
  } else if (std::holds_alternative<RecorderNote>(notice)) {
    kind("recorder-note");
  } else if (const auto* damage = std::get_if<Damage>(&notice)) {
    kind("damage");
    cells[kDamageOffset] = count(damage->offset);
    cells[kDamageBytes] = count(damage->bytes);
  }
}

}  // namespace

EventTable::EventTable(TableWriter& out, const std::string& name, const std::string& time_column)
    : out_(out), table_(0) {
  using Type = Column::Type;
  Table table;
  table.name = name;
  table.comment = "what the recorder told: error frames, statistics, link changes, losses, damage";
  table.columns = {{time_column, Type::time, "", "ns since 1970 UTC", true, {}},
                   {"bus", Type::text, "", "", false, {}},
                   {"frame", Type::integer, "", "number in the capture", false, {}},
                   {"kind", Type::text, "", "", false, {}},
                   {"text", Type::text, "", "", false, {}},
                   {"error_class", Type::integer, "", "mask of the error frame", false, {}},
                   {"error_data", Type::text, "", "its bytes in hex", false, {}},
                   {"received", Type::integer, "", "frames since the capture began", false, {}},
                   {"interface_dropped", Type::integer, "", "", false, {}},
                   {"system_dropped", Type::integer, "", "", false, {}},
                   {"frames_lost", Type::integer, "", "before the next packet of the bus", false, {}},
                   {"link", Type::text, "", "up, down or paused", false, {}},
                   {"damage_offset", Type::integer, "", "in the uncompressed file", false, {}},
                   {"damage_bytes", Type::integer, "", "", false, {}}};
  if (time_column != "time") table.view = name + "_readable";
  table_ = out_.add_table(std::move(table));
}

void EventTable::tell(const Event& event, std::string_view bus) {
  std::array<Cell, kPlaces> cells{};
  std::string text, data;
  cells[kTime] = Cell::of_time(event.time);
  cells[kBus] = Cell::of_text(bus);
  if (event.number > 0) cells[kFrame] = count(event.number);
  if (event.kind == EventKind::error) {
    cells[kKind] = Cell::of_text("error-frame");
    text = error_frame_words(event);
    data = hex_bytes({event.data, event.data == nullptr ? std::size_t{0} : event.len}, "");
    cells[kErrorClass] = Cell::of_integer(event.id);
    cells[kErrorData] = Cell::of_text(data);
  } else {
    text = notice_words(event, "");
    if (event.kind == EventKind::foreign) {
      cells[kKind] = Cell::of_text("foreign");
      cells[kBus] = Cell{};  // such a packet says nothing of its bus
    } else if (event.notice != nullptr) {
      tell_notice(*event.notice, cells);
    }
  }
  if (cells[kKind].kind == Cell::Kind::absent) return;
  text = printable_utf8(text);
  cells[kText] = Cell::of_text(text);
  out_.row(table_, cells);
  ++rows_;
}

}  // namespace tramlog
