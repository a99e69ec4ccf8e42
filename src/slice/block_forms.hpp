// The few pcapng blocks that mending has to write itself, in either byte order; each call replaces what `out`
// holds.
#pragma once

#include <array>
#include <cstdint>
#include <optional>
#include <vector>

#include "io/block_sink.hpp"
#include "slice/time_order.hpp"

namespace tramlog {

void put_section(std::vector<std::uint8_t>& out, bool swapped);
void put_interface(std::vector<std::uint8_t>& out, const InterfaceWords& words, bool swapped);
/// Of a record of classic pcap: seconds and fraction become one number of ticks; interface 0.
void put_packet(std::vector<std::uint8_t>& out, const PcapRecordWords& record, std::uint8_t resolution);
/// Of the recording as a whole.
void put_note(std::vector<std::uint8_t>& out, TimeNs time, const RecorderNote& note, bool swapped);

/// Of a timed block, as they stand in it.
using TimeWords = std::array<std::uint8_t, 8>;
TimeWords time_words(Bytes block);
void set_time_words(std::vector<std::uint8_t>& block, const TimeWords& words);
void set_time(std::vector<std::uint8_t>& block, std::uint64_t ticks, bool swapped);

/// The lane of a timed block: its type and its interface.
Lane lane_of(Bytes block, bool swapped);
/// None for notes of the recording as a whole.
std::optional<std::uint32_t> interface_of(Lane lane);
bool is_packet(Bytes block, bool swapped);

}  // namespace tramlog
