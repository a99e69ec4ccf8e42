#include "decode/words.hpp"

#include <array>
#include <catch2/catch.hpp>
#include <string>

using namespace tramlog;

namespace {

std::string error_words(std::uint32_t classes, std::array<std::uint8_t, 8> data = {}, std::uint8_t len = 8) {
  Event event;
  event.kind = EventKind::error;
  event.id = classes;
  event.data = data.data();
  event.len = len;
  return error_frame_words(event);
}

std::string notice(const Notice& notice, std::string_view bus = {}) {
  Event event;
  event.kind = EventKind::notice;
  event.notice = &notice;
  return notice_words(event, bus);
}

}  // namespace

TEST_CASE("error passive, as the fact sheet has it") {
  CHECK(error_words(0x004, {0, 0x10, 0, 0, 0, 0, 0, 0x80}) ==
        "the recorder's controller is error passive (receive); error counters: transmit 0, receive 128");
  CHECK(error_words(0x004, {0, 0x20}) == "the recorder's controller is error passive (transmit)");
  CHECK(error_words(0x004, {0, 0x30}) == "the recorder's controller is error passive (receive and transmit)");
}

TEST_CASE("each class of an error frame has its words") {
  CHECK(error_words(0x001) == "the recorder's adapter could not send in time");
  CHECK(error_words(0x002) == "the recorder lost the arbitration to a frame of higher priority");
  CHECK(error_words(0x002, {5}) == "the recorder lost the arbitration at bit 5");
  CHECK(error_words(0x004, {}) == "the recorder's controller has a problem that it does not name");
  CHECK(error_words(0x004, {0, 0x01}) == "the recorder's receive buffer overflowed: frames are missing here");
  CHECK(error_words(0x004, {0, 0x0C}) ==
        "the recorder's controller has counted many errors: warning level (receive and transmit)");
  CHECK(error_words(0x004, {0, 0x40}) == "the recorder's controller is error active again");
  CHECK(error_words(0x008, {0, 0, 0x04, 0x0A}) == "error on the wire: stuff error, at the data bytes");
  CHECK(error_words(0x008, {0, 0, 0x81, 0x19}) ==
        "error on the wire: a single bit was wrong, at the acknowledgement slot, while the recorder was "
        "transmitting");
  CHECK(error_words(0x008, {0, 0, 0x00, 0x77}) == "error on the wire: kind not told, at place 0x77");
  CHECK(error_words(0x010, {0, 0, 0, 0, 0x54}) ==
        "wiring: CAN_H is not connected, CAN_L is shorted to battery");
  CHECK(error_words(0x010, {0, 0, 0, 0, 0x80}) == "wiring: CAN_L is shorted to CAN_H");
  CHECK(error_words(0x010, {0, 0, 0, 0, 0x01}) == "the recorder's transceiver reports code 0x01");
  CHECK(error_words(0x020) == "no acknowledgement: nobody else listens or the bit rate is wrong");
  CHECK(error_words(0x040) == "bus off: the recorder's controller has left the bus after too many errors");
  CHECK(error_words(0x080) == "error on the wire: kind not told");
  CHECK(error_words(0x100) == "the recorder's controller was started again after bus off");
  CHECK(error_words(0x200, {0, 0, 0, 0, 0, 0, 7, 9}) == "error counters: transmit 7, receive 9");
}

TEST_CASE("several classes are joined, protocol violations say the bus error already") {
  CHECK(error_words(0x088, {0, 0, 0x02, 0x18}) == "error on the wire: form error, at the checksum delimiter");
  CHECK(error_words(0x0A0) ==
        "no acknowledgement: nobody else listens or the bit rate is wrong; "
        "error on the wire: kind not told");
}

TEST_CASE("error frames with nothing or nonsense in them") {
  CHECK(error_words(0) == "error frame that names no reason");
  CHECK(error_words(0x1000) == "unknown error class 0x1000");
  // Details that are not there count as zero.
  CHECK(error_words(0x008, {0, 0, 0x04, 0x0A}, 2) == "error on the wire: kind not told");
  Event event;
  event.kind = EventKind::error;
  event.id = 0x3FF;
  event.len = 8;
  CHECK_FALSE(error_frame_words(event).empty());  // without data
}

TEST_CASE("notices") {
  CHECK(notice(BusInfo{"can0", 250000}) == "bus can0 begins, 250 kbit/s");
  CHECK(notice(BusInfo{"can0", 0}) == "bus can0 begins, bit rate not told");
  CHECK(notice(BusInfo{"can0", 83333}) == "bus can0 begins, 83333 bit/s");
  CHECK(notice(BusInfo{"\x1b[2J", 0}) == "bus \\x1b[2J begins, bit rate not told");
  CHECK(notice(Counters{1, 2, std::nullopt}) ==
        "counters since the capture began: 1 frame received, 2 dropped by the interface");
  CHECK(notice(Counters{12, 0, 3}, "can1") ==
        "counters of can1 since the capture began: 12 frames received, 0 dropped "
        "by the interface, 3 dropped by the recording machine");
  CHECK(notice(Counters{}, "can1") == "the recorder of can1 is running");
  CHECK(notice(LinkChange{LinkState::down}) == "the interface went down: nothing is heard until it is up");
  CHECK(notice(LinkChange{LinkState::up}, "can0") == "the interface of can0 is up");
  CHECK(notice(LinkChange{LinkState::paused}) == "the recording was paused");
  CHECK(notice(FramesLost{1}, "can0") == "1 frame of can0 was lost just before this");
  CHECK(notice(Damage{1024, 96, "block lengths differ", 0}) ==
        "the capture is damaged: 96 bytes at offset 1024 could not be read (block lengths differ)");
  CHECK(notice(Damage{0, 1, "cut off", 1}) ==
        "the capture is damaged: 1 byte of file 2 at offset 0 could not be read (cut off)");
}

TEST_CASE("packets that are no frames") {
  Event event;
  event.kind = EventKind::foreign;
  CHECK(notice_words(event, "") ==
        "a packet that is no CAN frame of this bus: other link type, cut short, or CAN XL");
  event.kind = EventKind::frame;
  CHECK(notice_words(event, "").empty());
}
