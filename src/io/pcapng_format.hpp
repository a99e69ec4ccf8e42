// Numbers of the pcapng and pcap formats that reader and writer share (fact sheet 8.5, 8.6, 8.8).
#pragma once

#include <cstdint>

namespace tramlog::pcapng {

inline constexpr std::uint32_t kSectionHeader = 0x0A0D0D0A;
inline constexpr std::uint32_t kInterfaceDescription = 1;
inline constexpr std::uint32_t kObsoletePacket = 2;
inline constexpr std::uint32_t kSimplePacket = 3;
inline constexpr std::uint32_t kNameResolution = 4;
inline constexpr std::uint32_t kInterfaceStatistics = 5;
inline constexpr std::uint32_t kEnhancedPacket = 6;
inline constexpr std::uint32_t kByteOrderMagic = 0x1A2B3C4D;
inline constexpr std::uint16_t kLinkTypeSocketCan = 227;

inline constexpr std::uint16_t kOptEnd = 0;
inline constexpr std::uint16_t kOptComment = 1;
inline constexpr std::uint16_t kIfName = 2;
inline constexpr std::uint16_t kIfSpeed = 8;      // u64 bit/s
inline constexpr std::uint16_t kIfTsResol = 9;    // u8: top bit 0: 10^-n s, 1: 2^-n s
inline constexpr std::uint16_t kIfTsOffset = 14;  // i64 seconds
inline constexpr std::uint16_t kEpbFlags = 2;     // u32, bits 0-1: 1 inbound, 2 outbound
inline constexpr std::uint16_t kEpbDropCount = 4; // u64
inline constexpr std::uint16_t kIsbIfRecv = 4;    // u64
inline constexpr std::uint16_t kIsbIfDrop = 5;    // u64
inline constexpr std::uint16_t kIsbOsDrop = 7;    // u64

/// Our own option of an interface statistics block (top bit set: local use): u8 LinkState.
inline constexpr std::uint16_t kIsbLinkState = 0x8001;

/// Our own block (top bit set: local use), which other readers skip: u32 kind (RecorderNote), u32 time high, low in ns since
/// 1970-01-01 UTC, u32 interface number or ~0, options: comment, and those below.
inline constexpr std::uint32_t kRecorderNote = 0x80746C01;
inline constexpr std::uint32_t kNoInterface = 0xFFFFFFFF;
inline constexpr std::uint16_t kNoteNumber = 0x8002;  // u64
inline constexpr std::uint16_t kNoteBoot = 0x8003;    // u64
inline constexpr std::uint16_t kNoteSpan = 0x8004;    // i64 ns
inline constexpr std::uint16_t kNoteAddress = 0x8005; // u64
inline constexpr std::uint16_t kNoteData = 0x8006;    // bytes

// First four bytes of SocketCAN packets, big-endian on file.
inline constexpr std::uint32_t kCanExtended = 0x80000000;
inline constexpr std::uint32_t kCanRemote = 0x40000000;
inline constexpr std::uint32_t kCanError = 0x20000000;

}  // namespace tramlog::pcapng
