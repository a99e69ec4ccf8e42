#include "report/devices_page.hpp"

#include <algorithm>
#include <catch2/catch.hpp>
#include <nlohmann/json.hpp>
#include <sstream>

#include "report/device_tree.hpp"
#include "report/page.hpp"

using namespace tramlog;
using Json = nlohmann::json;

namespace {

constexpr TimeNs kStart = 1'775'542'320 * kSecond;  // 2026-04-07T06:12:00Z

/// Objects back to back, as ISO 11783-10 lays them out (fact sheet, process data, 4).
class PoolBytes {
 public:
  std::vector<std::uint8_t> bytes;

  PoolBytes& device(const std::string& designator) {
    letters("DVC").u16(0).text(designator).text("SW 1.2");
    for (const int b : {0xd9, 0xd6, 0xe0, 0xb5, 0x00, 0x80, 0x08, 0xa0}) u8(b);
    text("4711");
    for (const char c : std::string("DRL1.0 ")) u8(c);
    for (const int b : {0x65, 0x6E, 0x50, 0, 0x55, 0x55, 0xFF}) u8(b);
    return *this;
  }
  PoolBytes& element(int id, int type, const std::string& name, int number, int parent,
                     const std::vector<int>& list) {
    letters("DET").u16(id).u8(type).text(name).u16(number).u16(parent).u16(static_cast<int>(list.size()));
    for (const int one : list) u16(one);
    return *this;
  }
  PoolBytes& variable(int id, int ddi, int properties, int triggers, const std::string& name,
                      int presentation) {
    return letters("DPD").u16(id).u16(ddi).u8(properties).u8(triggers).text(name).u16(presentation);
  }
  PoolBytes& property(int id, int ddi, std::int32_t value, const std::string& name, int presentation) {
    return letters("DPT").u16(id).u16(ddi).i32(value).text(name).u16(presentation);
  }
  PoolBytes& presentation(int id, std::int32_t offset, std::uint32_t scale_bits, int decimals,
                          const std::string& unit) {
    letters("DVP").u16(id).i32(offset).i32(static_cast<std::int32_t>(scale_bits)).u8(decimals);
    return text(unit);
  }

 private:
  PoolBytes& u8(int value) {
    bytes.push_back(static_cast<std::uint8_t>(value));
    return *this;
  }
  PoolBytes& u16(int value) { return u8(value & 0xFF).u8(value >> 8); }
  PoolBytes& i32(std::int32_t value) {
    for (unsigned shift = 0; shift < 32; shift += 8)
      u8(static_cast<int>(static_cast<std::uint32_t>(value) >> shift & 0xFF));
    return *this;
  }
  PoolBytes& letters(const char* three) {
    for (int i = 0; i < 3; ++i) u8(three[i]);
    return *this;
  }
  PoolBytes& text(const std::string& text) {
    u8(static_cast<int>(text.size()));
    for (const char c : text) u8(static_cast<unsigned char>(c));
    return *this;
  }
};

/// A drill whose objects stand in no order: device 0, boom 1, sections 3 and 2, bin 7.
PoolBytes drill() {
  PoolBytes pool;
  pool.element(12, 4, "right", 3, 10, {30})
      .element(11, 4, "left", 2, 10, {31})
      .device("Seed drill")
      .element(1, 1, "", 0, 0, {})
      .element(20, 3, "Wheat", 7, 1, {40, 41, 42})
      .element(10, 2, "Boom", 1, 1, {})
      .property(30, 135, 750, "", 0xFFFF)
      .property(31, 135, -750, "Y", 0xFFFF)
      .variable(40, 7, 0x01, 0x09, "Delivered", 60)
      .variable(41, 6, 0x02, 0x08, "", 60)
      .variable(42, 352, 0x02, 0x10, "", 0xFFFF)
      .presentation(60, 0, 0x3C23D70A, 1, "kg/ha");  // 0.01
  return pool;
}

LastValue told(std::uint16_t element, std::uint16_t ddi, std::int64_t raw, double t_s) {
  LastValue value;
  value.variable = {element, ddi};
  value.raw = value.least_raw = value.greatest_raw = raw;
  value.count = 1;
  value.at = {kStart + static_cast<TimeNs>(t_s * 1e9), 77};
  return value;
}

Report report_of(const PoolBytes* pool) {
  Report report;
  report.files = {"0123"};
  report.found.start = kStart;
  report.found.end = kStart + 100 * kSecond;
  report.found.buses.resize(1);
  report.found.buses[0].name = "implement";
  ControllerRecord client, server;
  client.name = Name(0xa0088000b5e0d6d9);
  client.address = 0x80;
  server.name = Name(0xa000820000200001);
  server.address = 0xF7;
  report.found.controllers = {client, server};
  ImplementRecord implement;
  implement.client = 0;
  implement.address = 0x80;
  if (pool != nullptr) {
    implement.pool = parse_device_pool(pool->bytes);
    implement.pool_bytes = pool->bytes;
    implement.structure =
        implement.pool.device ? std::optional(implement.pool.device->structure) : std::nullopt;
    implement.source = PoolSource::uploaded;
    implement.source_words = "uploaded 06:12:14";
    implement.activated = true;
  }
  implement.task_running = true;
  LinkRecord link;
  link.server = 1;
  link.server_address = 0xF7;
  link.state = DialogueState::active;
  link.server_version = 3;
  link.events = {{{kStart + 14 * kSecond, 12}, "object pool accepted", false},
                 {{kStart + 15 * kSecond, 13}, "a value was refused", true}};
  implement.links = {link};
  implement.values = {told(7, 6, 18500, 30.5), told(7, 7, 18130, 31.25), told(7, 75, 400, 32),
                      told(99, 141, 1, 33)};
  implement.values[0].by_device = true;
  implement.values[0].set_raw = 19000;
  implement.values[0].set_at = Mark{kStart + 40 * kSecond, 99};
  report.found.seeding.implements = {implement};
  return report;
}

std::vector<std::string> lines_of(const std::string& text) {
  std::vector<std::string> lines;
  std::istringstream in(text);
  for (std::string line; std::getline(in, line);) lines.push_back(line);
  return lines;
}

/// All on one line, so that wrapping does not matter.
std::string flat(const std::string& text) {
  std::string all;
  for (const char c : text) {
    if (c == ' ' || c == '\n') {
      if (!all.empty() && all.back() != ' ') all += ' ';
    } else {
      all += c;
    }
  }
  return all;
}

}  // namespace

TEST_CASE("the tree goes by parents and element numbers") {
  const PoolBytes pool = drill();
  const Report report = report_of(&pool);
  const auto& implement = report.found.seeding.implements[0];
  REQUIRE(implement.pool.problems.empty());
  const auto tree = device_tree(implement, Schema::built_in());
  std::vector<std::pair<int, unsigned>> seen;
  for (const TreeElement& one : tree) seen.emplace_back(one.number, one.depth);
  CHECK(seen == std::vector<std::pair<int, unsigned>>{{0, 0}, {1, 1}, {2, 2}, {3, 2}, {7, 1}, {99, 0}});
  REQUIRE(tree[4].values.size() == 4);
  CHECK(tree[4].values[0].ddi == 6);
  CHECK(tree[4].values[0].shown == "185.0 kg/ha");
  CHECK(tree[4].values[0].set_shown == "190.0 kg/ha");
  CHECK(tree[4].values[1].name == "Delivered");
  CHECK(tree[4].values[1].shown == "181.3 kg/ha");
  CHECK(tree[4].values[2].ddi == 75);
  CHECK(tree[4].values[2].variable == nullptr);
  CHECK(tree[4].values[2].shown == "400 g");
  CHECK(tree[4].values[3].value == nullptr);
  CHECK(tree[2].values[0].name == "Y");
  CHECK(tree[2].values[0].shown == "-750 mm");

  const auto boom = device_tree(implement, Schema::built_in(), 1);
  REQUIRE(boom.size() == 3);
  CHECK(boom[0].number == 1);
  CHECK(device_tree(implement, Schema::built_in(), 99).size() == 1);
  CHECK(device_tree(implement, Schema::built_in(), 50).empty());
}

TEST_CASE("the page names elements, values, times and the dialogue") {
  const PoolBytes pool = drill();
  const std::string page = devices_page(report_of(&pool), Schema::built_in(), {});
  for (const std::string& line : lines_of(page)) {
    INFO(line);
    CHECK(line.size() <= Page::kWidth);
  }
  const std::string all = flat(page);
  for (const char* part : {"a0088000b5e0d6d9",
                           "designator Seed drill",
                           "software version SW 1.2",
                           "serial number 4711",
                           "(44 52 4c 31 2e 30 20)",
                           "uploaded 06:12:14",
                           "active, version 3",
                           "running at the end",
                           "element 7, bin \"Wheat\"",
                           "Delivered (DDI 7): 181.3 kg/ha at 06:12:31.250",
                           "185.0 kg/ha",
                           "set to 190.0 kg/ha at 06:12:40.000",
                           "[told by time interval, on change]",
                           "[settable, told by on change]",
                           "no value on the bus",
                           "-750 mm (fixed)",
                           "400 g",
                           "[not in the description]",
                           "element 99 (not in a description)",
                           "06:12:14.000 object pool accepted (frame 12)",
                           "06:12:15.000 ! a value was refused"}) {
    INFO(part);
    CHECK_THAT(all, Catch::Contains(part));
  }
  DevicesOptions options;
  options.element = 1;
  const std::string part = flat(devices_page(report_of(&pool), Schema::built_in(), options));
  CHECK_THAT(part, Catch::Contains("element 2, section \"left\""));
  CHECK_THAT(part, !Catch::Contains("Wheat"));
  options.element = 50;
  CHECK_THAT(devices_page(report_of(&pool), Schema::built_in(), options),
             Catch::Contains("there is no element 50"));
}

TEST_CASE("without a description the page says why and what helps") {
  const std::string all = flat(devices_page(report_of(nullptr), Schema::built_in(), {}));
  CHECK_THAT(all, Catch::Contains("not known") && Catch::Contains("--device-description"));
  CHECK_THAT(all, Catch::Contains("element 7 (not in a description)"));
  CHECK_THAT(all, Catch::Contains("Actual Mass Per Area Application Rate (DDI 7): 18130 mg/m2"));
  CHECK_THAT(all, Catch::Contains("Actual Work State (DDI 141): on at"));
  Report empty = report_of(nullptr);
  empty.found.seeding = {};
  CHECK_THAT(devices_page(empty, Schema::built_in(), {}),
             Catch::Contains("No implement talked to a task controller"));
}

TEST_CASE("what is broken in a description is told with its place") {
  PoolBytes pool = drill();
  const std::size_t whole = pool.bytes.size();
  pool.element(13, 4, "far", 4, 10, {999}).bytes.push_back('D');
  const std::string all = flat(devices_page(report_of(&pool), Schema::built_in(), {}));
  CHECK_THAT(all, Catch::Contains("BROKEN"));
  CHECK_THAT(all, Catch::Contains("byte " + std::to_string(pool.bytes.size() - 1)));
  CHECK(whole < pool.bytes.size());
}

TEST_CASE("the JSON carries objects, raw and shown values and links") {
  const PoolBytes pool = drill();
  const Json root = Json::parse(devices_json(report_of(&pool), Schema::built_in(), {}));
  CHECK(root["schema"] == "tramlog.devices/1");
  REQUIRE(root["implements"].size() == 1);
  const Json& implement = root["implements"][0];
  CHECK(implement["controller"] == "a0088000b5e0d6d9");
  CHECK(implement["bus"] == "implement");
  CHECK(implement["description"]["structure_label"] == "44524c312e3020");
  CHECK(implement["description"]["bytes"] == pool.bytes.size());
  CHECK(implement["description"]["objects"] == 12);
  CHECK(implement["task_running"] == true);
  REQUIRE(implement["elements"].size() == 6);
  const Json& bin = implement["elements"][4];
  CHECK(bin["element"] == 7);
  CHECK(bin["type_term"] == "bin");
  CHECK(bin["parent"] == 0);
  CHECK(bin["values"][0]["value"]["raw"] == 18500);
  CHECK(bin["values"][0]["value"]["time"] == "2026-04-07T06:12:30.500000000Z");
  CHECK(bin["values"][0]["set"]["raw"] == 19000);
  CHECK(bin["values"][0]["set"]["shown"] == "190.0 kg/ha");
  CHECK(bin["values"][0]["settable"] == true);
  CHECK(bin["values"][1]["triggers"] == Json::array({"time interval", "on change"}));
  CHECK(bin["values"][1]["presentation"] == 60);
  CHECK(bin["values"][2]["kind"] == "not-in-description");
  CHECK(bin["values"][3]["value"].is_null());
  CHECK(implement["elements"][2]["values"][0]["raw"] == -750);
  CHECK(implement["presentations"][0]["unit"] == "kg/ha");
  CHECK(implement["task_controllers"][0]["state"] == "active");
  CHECK(implement["task_controllers"][0]["events"][1]["trouble"] == true);
}

TEST_CASE("parents in a circle, and the same number again and again, end") {
  PoolBytes pool;
  pool.device("Loop").element(1, 2, "a", 1, 2, {}).element(2, 2, "b", 2, 1, {});
  for (int i = 0; i < 20000; ++i) pool.element(100 + i, 2, "", 7, 100 + i - 1, {});
  Report report = report_of(&pool);
  ImplementRecord& implement = report.found.seeding.implements[0];
  implement.values.clear();
  for (std::uint16_t ddi = 0; ddi < 4000; ++ddi) implement.values.push_back(told(7, ddi, 1, 1));
  const auto tree = device_tree(implement, Schema::built_in());
  CHECK(tree.size() == implement.pool.elements.size());
  std::size_t values = 0;
  for (const TreeElement& one : tree) values += one.values.size();
  CHECK(values == 4000);
  CHECK(devices_page(report, Schema::built_in(), {}).size() < 10'000'000);
}

TEST_CASE("an implement goes by its NAME, its label or its designator") {
  const PoolBytes pool = drill();
  Report report = report_of(&pool);
  const auto& implement = report.found.seeding.implements[0];
  CHECK(is_called(report.found, implement, "a0088000b5e0d6d9"));
  CHECK(is_called(report.found, implement, "Seed drill"));
  CHECK_FALSE(is_called(report.found, implement, ""));
  CHECK_FALSE(is_called(report.found, implement, "drill"));
  report.found.controllers[0].label = "drill";
  CHECK(is_called(report.found, implement, "drill"));
}
