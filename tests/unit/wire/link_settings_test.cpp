#include "wire/link_settings.hpp"

#include <catch2/catch.hpp>

using namespace tramlog;
using Data = std::vector<std::uint8_t>;

// Bytes as they stand in memory of a little-endian machine; numbers of fact sheet 8.4 and of the kernel's
// headers.

TEST_CASE("Down and up") {
  const Data down = up_down_message(3, false, 7);
  CHECK(down == Data{32, 0, 0, 0,    // length
                     16, 0, 5, 0,    // RTM_NEWLINK; request 1, acknowledge 4
                     7,  0, 0, 0,    // sequence
                     0,  0, 0, 0,    // port
                     0,  0, 0, 0,    // family, type
                     3,  0, 0, 0,    // index
                     0,  0, 0, 0,    // flags: not up
                     1,  0, 0, 0});  // change: up
  Data up = down;
  up[24] = 1;
  CHECK(up_down_message(3, true, 7) == up);
  Data get = down;
  get[4] = 18;  // RTM_GETLINK
  get[28] = 0;
  CHECK(get_link_message(3, 7) == get);
}

TEST_CASE("All settings in one message") {
  LinkSettings settings;
  settings.bitrate = 250'000;  // 0x0003D090
  settings.listen_only = true;
  settings.restart_ms = 100;
  settings.berr_reporting = false;
  CHECK(settings_message(4, settings, 1) ==
        Data{104, 0, 0, 0, 16,   0,    5,    0, 1, 0,    0, 0, 0, 0,    0, 0,  0, 0, 0,
             0,   4, 0, 0, 0,    0,    0,    0, 0, 0,    0, 0, 0, 72,   0, 18, 0,  // IFLA_LINKINFO
             8,   0, 1, 0, 'c',  'a',  'n',  0,                                    // IFLA_INFO_KIND
             60,  0, 2, 0,                                                         // IFLA_INFO_DATA
             36,  0, 1, 0, 0x90, 0xD0, 0x03, 0, 0, 0,    0, 0,  // IFLA_CAN_BITTIMING: 8 numbers, the first is
                                                                // the bit rate
             0,   0, 0, 0, 0,    0,    0,    0, 0, 0,    0, 0, 0, 0,    0, 0,  0, 0, 0,
             0,   0, 0, 0, 0,    12,   0,    5, 0, 0x12, 0, 0, 0, 0x02, 0, 0,  0,  // IFLA_CAN_CTRLMODE: mask,
                                                                                   // flags
             8,   0, 6, 0, 100,  0,    0,    0});                                  // IFLA_CAN_RESTART_MS
}

TEST_CASE("Only what is given is sent") {
  LinkSettings settings;
  settings.listen_only = false;
  CHECK(settings_message(4, settings, 1) == Data{60, 0, 0,  0,  16, 0, 5, 0,    1, 0, 0,   0,   0,   0, 0,
                                                 0,  0, 0,  0,  0,  4, 0, 0,    0, 0, 0,   0,   0,   0, 0,
                                                 0,  0, 28, 0,  18, 0, 8, 0,    1, 0, 'c', 'a', 'n', 0, 16,
                                                 0,  2, 0,  12, 0,  5, 0, 0x02, 0, 0, 0,   0,   0,   0, 0});
}

TEST_CASE("An interface that has the settings is left alone") {
  LinkInfo link;
  link.bitrate = 250'000;
  link.listen_only = true;
  link.restart_ms = 0;
  link.error_reporting = false;
  LinkSettings wanted;
  CHECK(missing_settings(wanted, link).empty());
  wanted.bitrate = 250'000;
  wanted.listen_only = true;
  wanted.restart_ms = 0;
  wanted.berr_reporting = false;
  CHECK(missing_settings(wanted, link).empty());
  wanted.restart_ms = 100;
  const LinkSettings missing = missing_settings(wanted, link);
  CHECK_FALSE(missing.bitrate);
  CHECK_FALSE(missing.listen_only);
  CHECK_FALSE(missing.berr_reporting);
  CHECK(missing.restart_ms == 100);
  link.bitrate.reset();  // none set yet
  CHECK(missing_settings(wanted, link).bitrate == 250'000);
}

TEST_CASE("The kernel's answers") {
  // NLMSG_ERROR 2, error 0, and the header it answers.
  const Data done{36, 0, 0,  0, 2, 0, 0,  1, 9, 0, 0, 0, 0, 0, 0, 0, 0, 0,
                  0,  0, 32, 0, 0, 0, 16, 0, 5, 0, 9, 0, 0, 0, 0, 0, 0, 0};
  REQUIRE(parse_reply(done, 9));
  CHECK(parse_reply(done, 9)->error == 0);
  CHECK_FALSE(parse_reply(done, 8));

  // EPERM = 1 as -1; words in NLMSGERR_ATTR_MSG 1 behind the capped request (flags 0x100 capped, 0x200 with
  // attributes).
  Data told{48, 0, 0, 0, 2, 0, 0, 3, 9, 0, 0, 0, 0, 0, 0, 0, 0xFF, 0xFF, 0xFF, 0xFF, 32, 0, 0, 0,
            16, 0, 5, 0, 9, 0, 0, 0, 0, 0, 0, 0, 9, 0, 1, 0, 'n',  'o',  ' ',  '!',  0,  0, 0, 0};
  REQUIRE(parse_reply(told, 9));
  CHECK(parse_reply(told, 9)->error == 1);
  CHECK(parse_reply(told, 9)->words == "no !");

  // The same with the whole request of 32 bytes in between.
  Data whole = told;
  whole[7] = 2;
  whole[0] = 64;
  whole.insert(whole.begin() + 36, 16, 0);
  REQUIRE(parse_reply(whole, 9));
  CHECK(parse_reply(whole, 9)->words == "no !");

  // Behind another message; cut short; lengths that lie.
  Data both = get_link_message(1, 9);
  both.insert(both.end(), told.begin(), told.end());
  CHECK(parse_reply(both, 9)->error == 1);
  for (std::size_t size = 0; size < told.size(); ++size) CHECK_FALSE(parse_reply({told.data(), size}, 9));
  told[36] = 200;
  CHECK(parse_reply(told, 9)->words.empty());
  told[36] = 0;
  CHECK(parse_reply(told, 9)->words.empty());
}

TEST_CASE("Impossible bit rates and interfaces that are not there") {
  LinkSettings settings;
  settings.bitrate = 0;
  CHECK(set_link("lo", settings).error().kind == ErrorKind::usage);
  settings.bitrate = 1'000'001;
  CHECK(set_link("lo", settings).error().kind == ErrorKind::usage);
  settings.bitrate = 250'000;
  CHECK(set_link("nosuchcan", settings).error().kind == ErrorKind::environment);
}
