#include "isobus/process_data.hpp"

#include <catch2/catch.hpp>

using namespace tramlog;

namespace {
using Data = std::vector<std::uint8_t>;
constexpr std::uint8_t kF = 0xFF;
}  // namespace

TEST_CASE("process messages: the vectors of the fact sheet") {
  const auto check = [](const Data& data, ProcessCommand command, unsigned element, unsigned ddi,
                        std::uint32_t raw) {
    const auto message = parse_process_message(data);
    REQUIRE(message);
    CHECK(message->command == command);
    CHECK(message->variable.element == element);
    CHECK(message->variable.ddi == ddi);
    CHECK(message->raw == raw);
  };
  check({0x23, 0x01, 0x06, 0x00, 0x50, 0x46, 0x00, 0x00}, ProcessCommand::value, 18, 6, 18000);
  check({0x33, 0x00, 0x01, 0x00, 0x80, 0x84, 0x1E, 0x00}, ProcessCommand::value, 3, 1, 2'000'000);
  check({0x04, 0x00, 0x74, 0x00, 0xE8, 0x03, 0x00, 0x00}, ProcessCommand::time_interval, 0, 116, 1000);
  check({0x58, 0x00, 0x8D, 0x00, 0x01, 0x00, 0x00, 0x00}, ProcessCommand::change, 5, 141, 1);
  check({0x02, 0x00, 0xFF, 0xDF, 0x11, 0x22, 0x33, 0x44}, ProcessCommand::request_value, 0, 57343,
        0x44332211);
  check({0x13, 0x00, 0xA1, 0x00, 0x55, 0x55, 0x00, 0xFF}, ProcessCommand::value, 1, 161, 0xFF005555);
  check({0x27, 0x01, 0x07, 0x00, 0x01, 0x00, 0x00, 0x80}, ProcessCommand::maximum, 18, 7, 0x80000001);
  check({0xFA, 0xFF, 0xFF, 0xFF, 0, 0, 0, 0}, ProcessCommand::set_and_acknowledge, kNoElement, kNoDdi, 0);
  CHECK_FALSE(parse_process_message(Data{0x23, 0x01, 0x06, 0x00, 0x50, 0x46, 0x00}));
  CHECK_FALSE(parse_process_message({}));
}

TEST_CASE("the raw value that ends a measurement depends on its kind") {
  using enum ProcessCommand;
  for (const auto command : {time_interval, distance_interval, change}) {
    CHECK(ends_measurement(command, 0));
    CHECK_FALSE(ends_measurement(command, 1));
    CHECK_FALSE(ends_measurement(command, 0x7FFFFFFF));
  }
  CHECK(ends_measurement(minimum, 2147483647));
  CHECK_FALSE(ends_measurement(minimum, 0));
  CHECK_FALSE(ends_measurement(minimum, static_cast<std::uint32_t>(-2147483647)));
  CHECK(ends_measurement(maximum, static_cast<std::uint32_t>(-2147483647)));
  CHECK_FALSE(ends_measurement(maximum, 0x80000000));
  CHECK_FALSE(ends_measurement(maximum, 2147483647));
  CHECK_FALSE(ends_measurement(value, 0));
  unsigned measurements = 0;
  for (unsigned c = 0; c < 16; ++c)
    measurements += is_measurement(static_cast<ProcessCommand>(c)) ? 1u << c : 0;
  CHECK(measurements == 0x1F0);  // commands 4 to 8
}

TEST_CASE("acknowledgements and why a command was refused") {
  // Fact sheet 1.5: refusal of set and acknowledge for element 0x123, DDI 7, not settable.
  const auto refused = parse_process_acknowledgement(Data{0x3D, 0x12, 0x07, 0x00, 0x10, 0xFA, kF, kF});
  REQUIRE(refused);
  CHECK(refused->variable == ProcessVariable{0x123, 7});
  CHECK(refused->errors == 0x10);
  CHECK_FALSE(refused->accepted());
  CHECK_FALSE(refused->doubtful());
  CHECK(refused->answers == ProcessCommand::set_and_acknowledge);
  CHECK(refusal_words(refused->errors) == "process data not settable");

  const auto old = parse_process_acknowledgement(Data{0xFD, kF, kF, kF, 0x00, kF, kF, kF});
  REQUIRE(old);
  CHECK(old->accepted());
  CHECK_FALSE(old->answers);
  CHECK(old->variable == ProcessVariable{kNoElement, kNoDdi});
  const auto all = parse_process_acknowledgement(Data{0x0D, 0, 7, 0, 0xFF, 0xF4, kF, kF});
  REQUIRE(all);
  CHECK(all->doubtful());
  CHECK(all->answers == ProcessCommand::time_interval);
  CHECK_FALSE(parse_process_acknowledgement(Data{0x3E, 0x12, 0x07, 0x00, 0x10, 0xFA, kF, kF}));
  CHECK_FALSE(parse_process_acknowledgement(Data{0x3D, 0x12, 0x07, 0x00, 0x10, 0xFA, kF}));

  CHECK(refusal_words(0).empty());
  CHECK(refusal_words(0x90) == "process data not settable, value outside this device's range");
  CHECK(refusal_words(0x06) == "invalid element number, DDI not supported by this element");
}

TEST_CASE("status of the task controller and echo of the client") {
  const auto busy = parse_task_controller_status(Data{0xFE, kF, kF, kF, 0x09, 0x83, 0x81, kF});
  REQUIRE(busy);
  CHECK(busy->task_active);
  CHECK(busy->executing);
  CHECK_FALSE((busy->saving || busy->reading || busy->out_of_memory));
  CHECK(busy->client == 0x83);
  CHECK(busy->command == 0x81);
  const auto full = parse_task_controller_status(Data{0xFE, kF, kF, kF, 0x86, 0, 0, kF});
  REQUIRE(full);
  CHECK((full->saving && full->reading && full->out_of_memory));
  CHECK_FALSE((full->task_active || full->executing));
  CHECK_FALSE(parse_task_controller_status(Data{0xFF, kF, kF, kF, 0x01, 0, 0, kF}));
  CHECK(state_words(0x81) == "task running, out of memory");
  CHECK(state_words(0x10) == "bit 0x10");

  CHECK(parse_client_task(Data{0xFF, kF, kF, kF, 0x01, 0, 0, 0}) == true);
  CHECK(parse_client_task(Data{0xFF, kF, kF, kF, 0xFE, 0, 0, 0}) == false);
  CHECK_FALSE(parse_client_task(Data{0xFE, kF, kF, kF, 0x01, 0, 0, 0}).has_value());
  CHECK_FALSE(parse_client_task(Data{0xFF, kF, kF, kF, 0x01}).has_value());
}

TEST_CASE("the version message") {
  const auto server = parse_process_version(Data{0x10, 4, 9, 0x11, 0, 1, 12, 2});
  REQUIRE(server);
  CHECK(server->version == 4);
  CHECK(server->boot_time_s == 9u);
  CHECK(server->options == 0x11);
  CHECK(server->booms == 1);
  CHECK(server->sections == 12);
  CHECK(server->channels == 2);
  CHECK(option_words(server->options) == "documentation and totals (TC-BAS), section control (TC-SC)");
  CHECK(option_words(0).empty());
  CHECK(version_words(3) == "version 3 (draft of the second edition)");
  CHECK(version_words(7) == "version 7");
  const auto client = parse_process_version(Data{0x10, 3, kF, 0, 0, 1, 255, 1});
  REQUIRE(client);
  CHECK_FALSE(client->boot_time_s);
  CHECK(client->sections == 255);
  CHECK_FALSE(parse_process_version(Data{0x00, kF, kF, kF, kF, kF, kF, kF}));
  CHECK_FALSE(parse_process_version(Data{0x10, 3, kF, 0, 0, 1, 255}));
}

TEST_CASE("labels") {
  const auto label = parse_structure_label(Data{0x01, 'D', 'R', 'I', 'L', 'L', '0', '1'});
  REQUIRE(label);
  CHECK(label->bytes == Data{'D', 'R', 'I', 'L', 'L', '0', '1'});
  CHECK_FALSE(label->none());
  CHECK(label_words(*label) == "\"DRILL01\"");
  const auto none = parse_structure_label(Data{0x11, kF, kF, kF, kF, kF, kF, kF});
  REQUIRE(none);
  CHECK(none->none());
  CHECK(label_words(*none).empty());
  CHECK_FALSE(parse_structure_label(Data{0x21, 1, 2, 3, 4, 5, 6, 7}));
  CHECK_FALSE(parse_structure_label(Data{0x01, 1, 2, 3, 4, 5, 6}));

  // The extension: trailing FF are padding, FF before other bytes is not; never more than 32 of it.
  const auto extended = parse_structure_label(Data{0x11, 1, 2, 3, 4, 5, 6, 7, 8, kF, 9, kF, kF});
  REQUIRE(extended);
  CHECK(extended->bytes == Data{1, 2, 3, 4, 5, 6, 7, 8, kF, 9});
  Data longest{0x11};
  for (std::uint8_t i = 1; i <= 60; ++i) longest.push_back(i);
  const auto cut = parse_structure_label(longest);
  REQUIRE(cut);
  CHECK(cut->bytes.size() == 39);
  CHECK(cut->bytes.back() == 39);

  const auto localization = parse_localization_label(Data{0x31, 'e', 'n', 0x5F, 4, 0, 0x05, kF});
  REQUIRE(localization);
  CHECK(*localization == LocalizationLabel{'e', 'n', 0x5F, 4, 0, 0x05, kF});
  CHECK(parse_localization_label(Data{0x21, 1, 2, 3, 4, 5, 6, 7}));
  CHECK_FALSE(parse_localization_label(Data{0x11, 1, 2, 3, 4, 5, 6, 7}));
}

TEST_CASE("answers about object pools") {
  const auto faulty = parse_activation_response(Data{0x91, 0x01, 3, 0, 12, 0, 0x02, kF});
  REQUIRE(faulty);
  CHECK(faulty->parent == 3);
  CHECK(faulty->object == 12);
  CHECK(activation_words(*faulty) ==
        "errors in the object pool; object 12 of object 3: unknown object reference");
  const auto good = parse_activation_response(Data{0x91, 0, kF, kF, kF, kF, 0, kF});
  REQUIRE(good);
  CHECK(activation_words(*good).empty());
  CHECK(activation_words({0x0A, 0xFFFF, 0xFFFF, 0}) ==
        "out of memory, another pool with this structure label exists");
  CHECK(activation_words({0x01, 0xFFFF, 0xFFFF, 0x08}) ==
        "errors in the object pool; pool deleted from memory");
  CHECK(activation_words({0x01, 4, 0xFFFF, 0}) == "errors in the object pool; within object 4");
  CHECK_FALSE(parse_activation_response(Data{0x81, 0, kF, kF, kF, kF, 0, kF}));

  const auto received = parse_transfer_response(Data{0x71, 1, 0x10, 0x27, 0x01, 0, kF, kF});
  REQUIRE(received);
  CHECK(received->result == 1);
  CHECK(received->bytes == 0x12710);
  CHECK_FALSE(parse_transfer_response(Data{0x61, 1, 0x10, 0x27, 0, 0, kF, kF}));
}

TEST_CASE("a changed designator: with a count, without, and short enough for one frame") {
  const auto text = [](const Data& data) {
    const auto change = parse_designator_change(data);
    REQUIRE(change);
    CHECK(change->object == 0x105);
    return change->designator;
  };
  CHECK(text({0xC1, 0x05, 0x01, 4, 'B', 'o', 'o', 'm'}) == "Boom");
  CHECK(text({0xC1, 0x05, 0x01, 'L', 'e', 'f', 't', '1'}) == "Left1");
  CHECK(text({0xC1, 0x05, 0x01, 'B', 'i', 'n', kF, kF}) == "Bin");
  CHECK(text({0xC1, 0x05, 0x01, 3, 'B', 'i', 'n', kF}) == "Bin");
  CHECK(text({0xC1, 0x05, 0x01, 0, kF, kF, kF, kF}).empty());
  CHECK(text({0xC1, 0x05, 0x01, kF, kF, kF, kF, kF}).empty());
  CHECK(text({0xC1, 0x05, 0x01}).empty());
  CHECK(text({0xC1, 0x05, 0x01, 'S', 0xC3, 0xA4, 't', 'e', 'n', 'd', 'e', 'r'}) == "S\u00e4tender");
  Data endless{0xC1, 0x05, 0x01, 'x'};
  for (int i = 0; i < 5000; ++i) endless.insert(endless.end(), {0xC3, 0xA4});
  std::string cut = "x";
  for (int i = 0; i < 127; ++i) cut += "\u00e4";
  CHECK(text(endless) == cut);
  endless.erase(endless.begin() + 3);  // the 255th byte is the first half of a character
  CHECK(text(endless) == cut.substr(1));
  CHECK_FALSE(parse_designator_change(Data{0xC1, 0x05}));
  CHECK_FALSE(parse_designator_change(Data{0xD1, 0x05, 0x01, 0, kF, kF, kF, kF}));
}

TEST_CASE("texts of descriptions: UTF-8, older code page, nothing that harms a terminal") {
  const auto text = [](const std::string& raw) {
    return descriptor_text({reinterpret_cast<const std::uint8_t*>(raw.data()), raw.size()});
  };
  CHECK(text("S\xC3\xA4maschine") == "S\u00e4maschine");
  CHECK(text("S\xE4maschine") == "S\u00e4maschine");              // no UTF-8: windows-1252
  CHECK(text("\x80/ha \x96 \xE4") == "\u20ac/ha \u2013 \u00e4");  // its signs in 80..9F
  CHECK(text("\x81\xE4") == "\\xc2\\x81\u00e4");                  // 81 stands for nothing there
  CHECK(text("a\x1B[2Jb") == "a\\x1b[2Jb");
  CHECK(text(std::string("Bin\0\0", 5)) == "Bin");
  CHECK(text("").empty());
}

TEST_CASE("terms of the commands") {
  CHECK(std::string(command_term(ProcessCommand::time_interval)) == "time interval");
  CHECK(std::string(command_term(ProcessCommand::set_and_acknowledge)) == "set value and acknowledge");
  CHECK(std::string(command_term(ProcessCommand::client_task)) == "client task");
  CHECK(std::string(command_term(static_cast<ProcessCommand>(0x93))) == "value");  // only four bits count
}
