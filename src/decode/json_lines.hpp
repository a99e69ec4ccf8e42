// Decoded messages as JSON Lines: one object a line, for programs.
//
// A message:
//   {"time":"2026-04-07T06:12:00.000000000Z","frame":20113,"bus":"can0","pgn":65096,
//    "message":"WheelBasedSpeedDist","source":240,"name":"a00c810045000001","from":"tractor ECU",
//    "destination":255,"to":"all","priority":3,"signals":[..],"remarks":[..],"data":".."}
//
//   time         RFC 3339, UTC, nanoseconds; of the last frame
//   frame        number of the last frame in the capture, from 1
//   frames       [first, last] of a transfer; only there
//   transfer     "bam", "rts-cts", "etp", "fast-packet"; only there
//   flags        array, only if not empty: "remote" (remote frame: no data), "fd" (CAN FD), "short" (the capture
//                holds only the beginning of the payload), "outbound" (sent by the recorder), "untimed" (the
//                capture gives no time: that of the frame before), "stray" (a frame of a transfer that was not
//                heard from its beginning, or is not in order)
//   id           identifier; only of 11-bit frames, whose pgn, source, name, from, destination, to and
//                priority are null
//   message      name in the schema, or null
//   name         NAME of the sender, 16 hex digits, or null; from, to: label or term (Speaker::words)
//   signals      {"name":"WheelBasedSpeed","value":2.512,"unit":"m/s","text":"..","state":"..","raw":1}
//                value: number or null; unit: left out if there is none; text: name of the code, or the
//                characters; state: left out if valid, else validity_code(); raw: only with the states error
//                and reserved
//   remarks      only if not empty: {"name":"..","text":".."}, what the message says beyond its signals
//   data         payload in hex: if the schema does not know the message or only its name, or if asked for
//
// A transfer that did not become a message, with the keys of the message that it would have been:
//   {"time":"..","frame":4647,"frames":[4639,4647],"transfer":"fast-packet","outcome":"timed-out","bus":"can0","pgn":129540,
//    "message":..,"source":..,"name":..,"from":..,"destination":..,"to":..,"event":"broken-transfer","text":".."}
//   time: when it was certain; outcome: "aborted", "timed-out", "interrupted", "out-of-order", "unseen",
//   "unfinished"
//
// An error frame, a packet that is no CAN frame, or a notice of the recorder:
//   {"time":"..","frame":20114,"bus":"can0","event":"error-frame","text":".."}
//   event        "error-frame", "foreign-packet", "statistics", "link", "frames-lost", "damage"
//   frame        null for notices
//
// Keys may be added later. Numbers are exact decimals where the schema's resolution is one.
#pragma once

#include <memory>
#include <optional>

#include "base/output_buffer.hpp"
#include "decode/interpreter.hpp"
#include "schema/units.hpp"

namespace tramlog {

struct JsonLinesOptions {
  std::optional<UnitSystem> units;  // none: as the schema has them
  bool data = false;                // the payload of known messages, too
};

/// `out` must outlive the sink.
std::unique_ptr<DecodeSink> make_json_lines(OutputBuffer& out, const JsonLinesOptions& options);

}  // namespace tramlog
