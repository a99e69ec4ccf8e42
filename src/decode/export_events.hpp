// What is no message as a table: error frames, statistics, link changes, losses, damage.
#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "base/table.hpp"
#include "decode/export_buses.hpp"
#include "decode/interpreter.hpp"

namespace tramlog {

/// Columns: time, bus, frame (number in the capture), kind ("error-frame", "foreign", "statistics", "link",
/// "frames-lost", "damage"), text (a sentence part), error_class (mask) and error_data (hex) of error frames,
/// received, interface_dropped and system_dropped (counted since the capture began), frames_lost, link ("up",
/// "down", "paused"), damage_offset, damage_bytes.
class EventTable {
 public:
  EventTable(TableWriter& out, const std::string& name, const std::string& time_column);
  void tell(const Event& event, std::string_view bus);
  std::uint64_t rows() const { return rows_; }

 private:
  TableWriter& out_;
  TableId table_;
  std::uint64_t rows_ = 0;
};

/// Events alone.
class EventExport final : public DecodeSink {
 public:
  EventExport(TableWriter& out, const std::string& time_column) : table_(out, "event", time_column) {}
  void on_message(const DecodedMessage&) override {}
  void on_event(const Event& event) override { table_.tell(event, buses_.of(event.bus)); }
  void on_bus(const Event& announcement) override { buses_.take(announcement); }
  std::uint64_t rows() const { return table_.rows(); }

 private:
  EventTable table_;
  BusNames buses_;
};

}  // namespace tramlog
