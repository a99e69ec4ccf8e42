#include "isobus/device_pool.hpp"

#include <algorithm>
#include <catch2/catch.hpp>
#include <chrono>
#include <cmath>
#include <limits>

#include "unit/isobus/device_pool_bench.hpp"

using namespace tramlog;
using namespace tramlog::test;

namespace {

// Written by hand: DVC 0 (version 3), DET 1 device, DET 2 bin 1 with DPD 3 and DPT 4, DVP 5.
const PoolData kHand = {
    'D',  'V',  'C',  0x00, 0x00, 5,    'D',  'r',  'i',  'l',  'l',  3,    '1',  '.',  '4',   // 0
    0x23, 0x01, 0x20, 0x0B, 0x00, 0x80, 0x0C, 0xA0, 3,    'S',  'N',  '7',                     // 15
    'D',  'R',  'I',  'L',  'L',  '0',  '1',  'e',  'n',  0x5F, 0x04, 0x00, 0x05, 0xFF,        // 27
    'D',  'E',  'T',  0x01, 0x00, 1,    0,    0x00, 0x00, 0x00, 0x00, 0x00, 0x00,              // 41
    'D',  'E',  'T',  0x02, 0x00, 3,    4,    'S',  'e',  'e',  'd',  0x12, 0x00, 0x01, 0x00,  // 54
    0x02, 0x00, 0x03, 0x00, 0x04, 0x00,                                                        // 69
    'D',  'P',  'D',  0x03, 0x00, 0x06, 0x00, 0x03, 0x09, 4,    'R',  'a',  't',  'e',         // 75
    0x05, 0x00,                                                                                // 89
    'D',  'P',  'T',  0x04, 0x00, 0x86, 0x00, 0x18, 0xFC, 0xFF, 0xFF, 1,    'X',  0xFF, 0xFF,  // 91
    'D',  'V',  'P',  0x05, 0x00, 0x00, 0x00, 0x00, 0x00, 0x0A, 0xD7, 0x23, 0x3C, 1,           // 106
    5,    'k',  'g',  '/',  'h',  'a',                                                         // 120
};

bool tells(const DevicePool& pool, std::uint16_t object, const std::string& part) {
  for (const PoolProblem& problem : pool.problems)
    if (problem.object == object && problem.what.find(part) != std::string::npos) return true;
  return false;
}

std::string all_problems(const DevicePool& pool) {
  std::string text;
  for (const PoolProblem& problem : pool.problems) text += problem_words(problem) + "\n";
  return text;
}

/// A pool that keeps all rules: device, boom with section control, two sections, one bin with a rate.
PoolWriter good_pool() {
  PoolWriter w;
  w.device();
  w.element(1, 1, 0, 0);
  w.element(2, 2, 1, 1, {10}, "Boom");
  w.element(3, 4, 2, 2, {}).element(4, 4, 3, 2, {20});
  w.element(5, 3, 18, 2, {11, 21}, "Seed");
  w.variable(10, 160, 0x02, 0x08).variable(11, 6, 0x02, 0x09, 30);
  w.property(20, 134, -1000).property(21, 134, -500);
  w.presentation(30, 0, 0.01f, 1, "kg/ha");
  return w;
}

DevicePool checked(const PoolWriter& w, std::optional<Name> claimed = std::nullopt) {
  DevicePool pool = parse_device_pool(w.data());
  check_device_pool(pool, claimed);
  return pool;
}

}  // namespace

TEST_CASE("device pool: one written by hand, read whole") {
  const DevicePool pool = parse_device_pool(kHand);
  CHECK(pool.problems.empty());
  CHECK(pool.bytes == 126);
  CHECK(pool.bytes_read == 126);
  CHECK(pool.objects() == 6);
  REQUIRE(pool.device);
  CHECK(pool.device->id == 0);
  CHECK(pool.device->designator == "Drill");
  CHECK(pool.device->software_version == "1.4");
  CHECK(pool.device->serial_number == "SN7");
  CHECK(pool.device->name == Name(0xA00C80000B200123));
  CHECK(pool.device->structure.bytes == PoolData{'D', 'R', 'I', 'L', 'L', '0', '1'});
  CHECK(pool.device->localization == LocalizationLabel{'e', 'n', 0x5F, 0x04, 0x00, 0x05, 0xFF});
  CHECK_FALSE(pool.device->extended_form);

  REQUIRE(pool.elements.size() == 2);
  CHECK(pool.elements[0].offset == 41);
  CHECK(pool.elements[1].offset == 54);
  const ElementObject* bin = pool.element_by_number(18);
  REQUIRE(bin == &pool.elements[1]);
  CHECK(bin == pool.element_by_id(2));
  CHECK(bin->type == 3);
  CHECK(bin->parent == 1);
  CHECK(bin->references == std::vector<std::uint16_t>{3, 4});
  const VariableObject* rate = pool.variable({18, 6});
  REQUIRE(rate == pool.variable_by_id(3));
  REQUIRE(rate != nullptr);
  CHECK(rate->settable());
  CHECK(rate->properties == 0x03);
  CHECK(rate->triggers == 0x09);
  CHECK(rate->designator == "Rate");
  const PropertyObject* x = pool.property({18, 134});
  REQUIRE(x != nullptr);
  CHECK(x == pool.property_by_id(4));
  CHECK(x->value == -1000);
  CHECK(x->presentation == kNullObject);
  const PresentationObject* shown = pool.presentation({18, 6});
  REQUIRE(shown != nullptr);
  CHECK(shown == pool.presentation_by_id(5));
  CHECK(shown->unit == "kg/ha");
  CHECK(shown->decimals == 1);
  CHECK(presented(*shown, 18125) == "181.3 kg/ha");  // 181.25: half away from zero
  CHECK(pool_words(pool) ==
        "126 bytes with 1 device, 2 elements, 1 variable, 1 property and 1 presentation: \"Drill\"");
}

TEST_CASE("device pool: what is not there is not found") {
  const DevicePool pool = parse_device_pool(kHand);
  CHECK(pool.element_by_number(17) == nullptr);
  CHECK(pool.element_by_id(3) == nullptr);     // a variable
  CHECK(pool.variable({18, 134}) == nullptr);  // a property
  CHECK(pool.property({18, 6}) == nullptr);    // a variable
  CHECK(pool.variable({0, 6}) == nullptr);     // of another element
  CHECK(pool.presentation({18, 134}) == nullptr);
  CHECK(pool.presentation_by_id(kNullObject) == nullptr);
  CHECK(pool.children_of(2).empty());
  CHECK(pool.children_of(0) == std::vector<std::size_t>{0});
  CHECK(pool.children_of(1) == std::vector<std::size_t>{1});
  const DevicePool nothing = parse_device_pool({});
  CHECK(nothing.empty());
  CHECK(nothing.problems.empty());
  CHECK(nothing.variable({18, 6}) == nullptr);
  CHECK(nothing.element_words(18) == "element 18");
}

TEST_CASE("device pool: elements in words") {
  PoolWriter w;
  w.element(1, 3, 4, 0, {}, "Seed bin").element(2, 4, 5, 0).element(3, 7, 6, 0, {}, "  ").element(4, 9, 7, 0);
  const DevicePool pool = parse_device_pool(w.data());
  CHECK(pool.element_words(4) == "Seed bin");
  CHECK(pool.element_words(5) == "section 5");
  CHECK(pool.element_words(6) == "navigation reference 6");
  CHECK(pool.element_words(7) == "element 7");
  CHECK(pool.element_words(8) == "element 8");
  CHECK(element_type_term(1) == "device");
  CHECK(element_type_term(6) == "connector");
  CHECK(element_type_term(0) == "element type 0");
  CHECK(element_type_term(8) == "element type 8");
}

TEST_CASE("device pool: lists filled by hand are searched, indexed or not") {
  DevicePool pool;
  ElementObject element;
  element.id = 7, element.number = 3, element.parent = 0, element.references = {9, 8};
  VariableObject variable;
  variable.id = 8, variable.ddi = 67;
  pool.elements.push_back(element);
  pool.variables.push_back(variable);
  for (int pass = 0; pass < 2; ++pass) {
    CHECK(pool.element_by_id(7) == &pool.elements[0]);
    CHECK(pool.variable({3, 67}) == &pool.variables[0]);
    CHECK(pool.variable({3, 68}) == nullptr);
    CHECK(pool.children_of(0).size() == 1);
    pool.index_objects();
  }
}

TEST_CASE("device pool: versions are told apart by the byte behind the localization label") {
  SECTION("version 4, with an extension") {
    PoolWriter w;
    w.device("Drill", 0, {1, 2, 0xFF, 0xFF}, true).element(1, 1, 0, 0);
    const DevicePool pool = parse_device_pool(w.data());
    REQUIRE(pool.device);
    CHECK(pool.device->extended_form);
    CHECK(pool.device->structure.bytes == PoolData{'D', 'R', 'I', 'L', 'L', '0', '1', 1, 2});
    CHECK(pool.elements.size() == 1);
    CHECK(pool.problems.empty());
    CHECK(pool.bytes_read == w.size());
    const DevicePool as_version_3 = parse_device_pool(w.data(), false);
    CHECK(as_version_3.elements.size() == 1);
    CHECK(tells(as_version_3, 0, "not both partners speak version 4"));
  }
  SECTION("version 4, empty extension and the longest") {
    for (const std::size_t length : {0u, 32u}) {
      PoolWriter w;
      w.device("Drill", 0, PoolData(length, 'x'), true);
      const DevicePool pool = parse_device_pool(w.data(), true);
      REQUIRE(pool.device);
      CHECK(pool.device->structure.bytes.size() == 7 + length);
      CHECK(pool.problems.empty());
    }
  }
  SECTION("version 3 at the end of the pool and before an object") {
    PoolWriter w;
    w.device();
    CHECK_FALSE(parse_device_pool(w.data()).device->extended_form);
    CHECK(tells(parse_device_pool(w.data(), true), 0, "extended structure label is missing"));
    w.presentation(1, 0, 1, 0, "m");
    CHECK_FALSE(parse_device_pool(w.data()).device->extended_form);
    CHECK(parse_device_pool(w.data()).presentations.size() == 1);
    CHECK(parse_device_pool(w.data(), false).problems.empty());
  }
}

TEST_CASE("device pool: cut at each byte, what stands before the cut is kept") {
  PoolWriter four;
  four.device("Drill", 0, {1, 2, 3}, true).element(1, 1, 0, 0, {2, 3}).variable(2, 141, 2, 8, 0xFFFF, "Work");
  four.property(3, 134, 5).presentation(4, 1, 1, 2, "mm");
  const std::vector<std::pair<PoolData, std::vector<std::size_t>>> cases = {
      {kHand, {41, 54, 75, 91, 106, 126}}, {four.data(), {45, 62, 78, 92, 109}}};
  for (const auto& [whole, ends] : cases) {
    REQUIRE(whole.size() == ends.back());
    for (std::size_t length = 0; length <= whole.size(); ++length) {
      // A copy of exactly this size: a read behind its end is seen by the sanitizer.
      const PoolData cut(whole.begin(), whole.begin() + static_cast<std::ptrdiff_t>(length));
      DevicePool pool = parse_device_pool(cut);
      const auto end = std::upper_bound(ends.begin(), ends.end(), length);
      const auto objects = static_cast<std::size_t>(end - ends.begin());
      const std::size_t used = objects == 0 ? 0 : *(end - 1);
      CHECK(pool.bytes == length);
      if (ends[0] == 45 && length == 41) {
        CHECK(pool.objects() == 1);  // cut behind the localization label it is a device of version 3
      } else {
        CHECK(pool.objects() == objects);
        CHECK(pool.bytes_read == used);
        CHECK(pool.problems.size() == (used == length ? 0 : 1));
      }
      if (!pool.problems.empty()) {
        CHECK(pool.problems[0].broken);
        CHECK(pool.problems[0].offset == used);
      }
      check_device_pool(pool, std::nullopt);
    }
  }
  const DevicePool cut = parse_device_pool(Bytes(kHand).first(89));
  CHECK(all_problems(cut) ==
        "byte 75, object 3: this DPD is cut off: it needs at least 16 bytes, 14 are left\n");
}

TEST_CASE("device pool: reading goes on behind what makes no sense") {
  SECTION("bytes between objects") {
    PoolWriter w;
    w.device().raw({0x5A, 'D', 'E', 'T'}).element(1, 1, 0, 0).element(2, 3, 1, 1).raw({0xFF, 0xFF});
    const DevicePool pool = parse_device_pool(w.data());
    REQUIRE(pool.elements.size() == 2);
    REQUIRE(pool.problems.size() == 2);
    CHECK(pool.problems[0].offset == 41);
    CHECK(pool.problems[0].broken);
    CHECK(pool.problems[0].what.find("4 bytes skipped") != std::string::npos);
    CHECK(pool.problems[1].offset == w.size() - 2);
    CHECK(pool.problems[1].what == "no object begins here (bytes ff ff); 2 bytes skipped");
    CHECK(pool.bytes_read == w.size() - 6);
  }
  SECTION("a length that swallows the objects behind it") {
    PoolWriter w;
    w.device()
        .variable(2, 141, 0, 0, 0xFFFF, "Work")
        .element(1, 1, 0, 0)
        .element(3, 3, 1, 1)
        .element(4, 4, 2, 1);
    PoolData data = w.data();
    data[41 + 9] = 20;  // the designator of DPD 2 has 4
    const DevicePool pool = parse_device_pool(data);
    CHECK(pool.variables.empty());
    CHECK(pool.elements.size() == 3);
    REQUIRE(pool.problems.size() == 1);
    CHECK(problem_words(pool.problems[0]) ==
          "byte 41, object 2: the lengths within this DPD cannot be right; 16 bytes skipped up to the next "
          "object that can be read");
  }
  SECTION("a length that points behind the end") {
    PoolWriter w;
    w.device().element(1, 1, 0, 0).element(3, 3, 1, 1).element(4, 4, 2, 1);
    PoolData data = w.data();
    data[41 + 11] = 0xFF, data[41 + 12] = 0xFF;  // references of DET 1
    const DevicePool pool = parse_device_pool(data);
    REQUIRE(pool.elements.size() == 2);
    CHECK(pool.elements[0].id == 3);
    CHECK(tells(pool, 1, "cannot be right"));
  }
  SECTION("letters of objects within a text are text") {
    PoolWriter w;
    w.device("DPD\x02").variable(1, 7, 0, 0, 0xFFFF, "DVPDVPDVPDVPDVPDVPDVP");
    const DevicePool pool = parse_device_pool(w.data());
    CHECK(pool.problems.empty());
    CHECK(pool.objects() == 2);
    CHECK(pool.variables[0].designator == "DVPDVPDVPDVPDVPDVPDVP");
  }
  SECTION("nothing but noise") {
    const DevicePool pool = parse_device_pool(PoolData(1000, 'D'));
    CHECK(pool.empty());
    CHECK(pool.problems.size() == 1);
    CHECK(pool.bytes_read == 0);
  }
}

TEST_CASE("device pool: lengths at their limits") {
  SECTION("texts of 0, 32, 33, 128 and 255 bytes") {
    for (const std::size_t length : {0u, 32u, 33u, 128u, 255u}) {
      PoolWriter w;
      w.variable(1, 7, 0, 0, 0xFFFF, std::string(length, 'x')).presentation(2, 0, 1, 0, "m");
      const DevicePool pool = parse_device_pool(w.data());
      REQUIRE(pool.variables.size() == 1);
      CHECK(pool.variables[0].designator.size() == length);
      CHECK(pool.presentations.size() == 1);
      CHECK(tells(pool, 1, "characters in") == (length > 32));
      CHECK(pool.problems.size() == (length > 32 ? 1 : 0));
      if (length > 32) CHECK_FALSE(pool.problems[0].broken);
    }
  }
  SECTION("32 characters of more bytes: version 4 only") {
    std::string umlauts;
    for (int i = 0; i < 20; ++i) umlauts += "\xC3\xA4";
    PoolWriter three, four;
    three.device().variable(1, 7, 0, 0, 0xFFFF, umlauts);
    four.device("Drill", 0, {}, true).variable(1, 7, 0, 0, 0xFFFF, umlauts);
    CHECK(tells(parse_device_pool(three.data()), 1, "the designator has 40 bytes; before version 4"));
    CHECK(parse_device_pool(four.data()).problems.empty());
    PoolWriter unknown;
    unknown.variable(1, 7, 0, 0, 0xFFFF, umlauts);
    CHECK(parse_device_pool(unknown.data()).problems.empty());
    CHECK(tells(parse_device_pool(unknown.data(), false), 1, "before version 4"));
  }
  SECTION("65535 references") {
    PoolWriter w;
    w.element(1, 1, 0, 0, std::vector<unsigned>(65535, 2)).variable(2, 141);
    const DevicePool pool = parse_device_pool(w.data());
    REQUIRE(pool.elements.size() == 1);
    CHECK(pool.elements[0].references.size() == 65535);
    CHECK(pool.variable({0, 141}) == &pool.variables[0]);
    CHECK(pool.bytes_read == w.size());
  }
  SECTION("an older code page, and what a terminal must not get") {
    PoolWriter w;
    w.variable(1, 7, 0, 0, 0xFFFF, "S\xE4maschine").variable(2, 7, 0, 0, 0xFFFF, "a\x1B[31m");
    const DevicePool pool = parse_device_pool(w.data());
    CHECK(pool.variables[0].designator == "S\u00e4maschine");
    CHECK(tells(pool, 1, "no UTF-8"));
    CHECK(pool.variables[1].designator == "a\\x1b[31m");
  }
  SECTION("more than a pool may have") {
    PoolWriter w;
    while (w.size() <= kMaxPoolBytes) w.element(1, 1, 0, 0, std::vector<unsigned>(60000, 3));
    const DevicePool pool = parse_device_pool(w.data());
    CHECK(pool.bytes == w.size());
    CHECK(pool.elements.size() == kMaxPoolBytes / 120013);
    CHECK(pool.problems[0].broken);
    CHECK(pool.problems[0].offset == kMaxPoolBytes);
  }
}

TEST_CASE("device pool: values as the implement wants them shown") {
  const auto shown = [](std::int32_t offset, float scale, unsigned decimals, const std::string& unit,
                        std::int64_t raw) {
    PresentationObject presentation;
    presentation.value_offset = offset, presentation.scale = scale, presentation.unit = unit;
    presentation.decimals = static_cast<std::uint8_t>(decimals);
    return presented(presentation, raw);
  };
  CHECK(shown(0, 0.01f, 1, "kg/ha", 18130) == "181.3 kg/ha");
  CHECK(shown(0, 0.01f, 1, "kg/ha", -18130) == "-181.3 kg/ha");
  CHECK(shown(-273150, 0.001f, 1, "C", 293150) == "20.0 C");  // the offset comes before the scale
  // Halves away from zero, also where the binary fraction is a hair less.
  CHECK(shown(0, 0.01f, 1, "", 125) == "1.3");
  CHECK(shown(0, 0.01f, 1, "", -125) == "-1.3");
  CHECK(shown(0, 0.005f, 2, "", 201) == "1.01");
  CHECK(shown(0, 0.1f, 0, "", 25) == "3");
  CHECK(shown(0, 0.1f, 0, "", -25) == "-3");
  CHECK(shown(0, 0.01f, 1, "", 124) == "1.2");
  CHECK(shown(0, 0.01f, 0, "", -49) == "0");  // and no "-0"
  CHECK(shown(0, 1, 0, "#", 4294967295) == "4294967295 #");
  CHECK(shown(0, 1, 7, "", -2147483648LL) == "-2147483648.0000000");
  CHECK(shown(0, 1, 200, "", 3) == "3.0000000");
  CHECK(shown(2147483647, 1, 0, "", 1) == "2147483648");
  CHECK(shown(0, 0, 1, "x", 77) == "0.0 x");
  CHECK(shown(0, std::numeric_limits<float>::denorm_min(), 2, "x", 77) == "0.00 x");
  CHECK(shown(0, std::nanf(""), 2, "x", 77) == "raw 77");
  CHECK(shown(0, std::numeric_limits<float>::infinity(), 2, "x", -77) == "raw -77");
  CHECK(shown(0, 1e8f, 0, "x", 2) == "200000000 x");
  CHECK(shown(0, -0.5f, 1, "x", 3) == "-1.5 x");
  const std::string huge =
      shown(0, std::numeric_limits<float>::max(), 7, "", std::numeric_limits<std::int64_t>::max());
  CHECK(huge.size() > 58);
  CHECK(huge.size() < 80);
}

TEST_CASE("device pool check: a good pool has no problem") {
  CHECK(all_problems(checked(good_pool(), Name(kDrillName))).empty());
  PoolWriter four;
  four.device("Drill", 0, {9, 9}, true).element(1, 1, 0, 0);
  CHECK(all_problems(checked(four)).empty());
}

TEST_CASE("device pool check: device object and device element") {
  SECTION("the NAME of another") {
    const DevicePool pool = checked(good_pool(), Name(kDrillName + 1));
    REQUIRE(pool.problems.size() == 1);
    CHECK(pool.problems[0].what ==
          "the NAME in the device object (DVC) is a00c80000b200123, but the sender's address claim says "
          "a00c80000b200124");
    CHECK(pool.problems[0].object == 0);
    CHECK_FALSE(pool.problems[0].broken);
  }
  SECTION("nothing at all") {
    const DevicePool pool = checked(PoolWriter());
    CHECK(tells(pool, kNullObject, "no device object"));
    CHECK(tells(pool, kNullObject, "no device element"));
    CHECK(pool.problems.size() == 2);
  }
  SECTION("twice") {
    PoolWriter w = good_pool();
    w.device("Other", 40).element(41, 1, 9, 0);
    const DevicePool pool = checked(w);
    CHECK(tells(pool, 40, "further device object"));
    CHECK(tells(pool, 41, "further device element"));
    CHECK(pool.device->designator == "Drill");
    CHECK(pool.problems.size() == 2);
  }
  SECTION("wrong numbers") {
    PoolWriter w;
    w.device("Drill", 3).element(1, 1, 5, 3).element(2, 3, 4096, 1).element(4, 8, 7, 1).element(0, 3, 8, 1);
    w.element(0xFFFF, 3, 9, 1);
    const DevicePool pool = checked(w);
    CHECK(tells(pool, 3, "has the id 3, not 0"));
    CHECK(tells(pool, 1, "has the number 5, not 0"));
    CHECK(tells(pool, 2, "the element number is 4096"));
    CHECK(tells(pool, 4, "the element type is 8"));
    CHECK(tells(pool, 0, "has the id 0"));
    CHECK(tells(pool, 0xFFFF, "has the id 65535"));
    CHECK(pool.problems.size() == 6);
  }
  SECTION("the device element hangs from an element") {
    PoolWriter w;
    w.device().element(1, 2, 1, 0).element(2, 1, 0, 1);
    const DevicePool pool = checked(w);
    CHECK(tells(pool, 2, "is object 1, not the device object"));
    CHECK(pool.problems.size() == 1);
  }
  SECTION("labels") {
    PoolData data = good_pool().data();
    data[27 + 3] = 0xFF;      // structure label
    data[27 + 7] = 0xFF;      // language
    data[27 + 7 + 6] = 0x00;  // must be FF
    DevicePool pool = parse_device_pool(data);
    check_device_pool(pool, std::nullopt);
    CHECK(tells(pool, 0, "structure label holds a byte FF"));
    CHECK(tells(pool, 0, "names no language"));
    CHECK(tells(pool, 0, "localization label is 00, not FF"));
    CHECK(pool.problems.size() == 3);
  }
}

TEST_CASE("device pool check: ids, references, parents") {
  SECTION("ids and element numbers twice") {
    PoolWriter w = good_pool();
    const std::size_t at = w.size();
    w.property(11, 135, 0).element(50, 4, 18, 2);
    const DevicePool pool = checked(w);
    REQUIRE(pool.problems.size() == 2);
    CHECK(pool.problems[0].offset == at);
    CHECK(pool.problems[0].what.find("this property (DPT) has the id of the variable (DPD)") == 0);
    CHECK(tells(pool, 50, "the element number 18 is that of object 5 too"));
  }
  SECTION("references to nothing and to the wrong thing") {
    PoolWriter w = good_pool();
    w.element(50, 3, 20, 99, {98, 30, 2})
        .element(51, 3, 21, 10)
        .variable(52, 7, 0, 0, 97)
        .property(53, 7, 0, 10);
    const DevicePool pool = checked(w);
    CHECK(tells(pool, 50, "names object 99 as its parent, which is not in the pool"));
    CHECK(tells(pool, 50, "lists object 98, which is not in the pool"));
    CHECK(tells(pool, 50, "lists object 30, which is a presentation (DVP)"));
    CHECK(tells(pool, 50, "lists object 2, which is an element (DET)"));
    CHECK(tells(pool, 51, "names object 10 as its parent, which is a variable (DPD)"));
    CHECK(tells(pool, 52, "names object 97 as its presentation, which is not in the pool"));
    CHECK(tells(pool, 53, "names object 10 as its presentation, which is a variable (DPD)"));
    CHECK(pool.problems.size() == 7);
  }
  SECTION("loops of parents are told once each, also from a side branch") {
    PoolWriter w = good_pool();
    w.element(60, 2, 60, 61).element(61, 2, 61, 62).element(62, 2, 62, 60).element(63, 4, 63, 60);
    w.element(70, 2, 70, 70);
    const DevicePool pool = checked(w);
    CHECK(all_problems(pool).find("the parents go round in a loop: object 60 -> 61 -> 62 -> 60\n") !=
          std::string::npos);
    CHECK(tells(pool, 70, "object 70 -> 70"));
    CHECK(pool.problems.size() == 2);
  }
  SECTION("one DDI as a variable and as a property") {
    PoolWriter w = good_pool();
    w.element(50, 3, 20, 2, {51, 52, 11}).variable(51, 67, 0, 8).property(52, 67, 3000);
    const DevicePool pool = checked(w);
    CHECK(tells(pool, 50, "lists DDI 67 both as a variable (object 51) and as a property (object 52)"));
    CHECK(pool.problems.size() == 1);
  }
}

TEST_CASE("device pool check: controls and presentations") {
  PoolWriter w = good_pool();
  w.variable(50, 160, 0x00, 0x01).variable(51, 158, 0x02, 0x01).property(52, 160, 1).variable(53, 6, 0x06);
  w.presentation(60, 0, 1, 8, "m").presentation(61, 0, 1e-9f, 7, "m").presentation(62, 0, 1e8f, 0, "m");
  w.presentation(63, 0, 9e-10f, 0, "m").presentation(64, 0, 1.1e8f, 0, "m").presentation(65, 0, 0, 0, "m");
  w.presentation(66, 0, std::nanf(""), 0, "m").presentation(67, 0, -1, 0, "m");
  const DevicePool pool = checked(w);
  CHECK(tells(pool, 50, "DDI 160 (section control state) is not settable"));
  CHECK(tells(pool, 50, "cannot be sent on change"));
  CHECK_FALSE(tells(pool, 51, "not settable"));
  CHECK(tells(pool, 51, "DDI 158 (prescription control state) cannot be sent on change"));
  CHECK(tells(pool, 52, "is a property (DPT)"));
  CHECK(tells(pool, 53, "both settable and a control source"));
  CHECK(tells(pool, 60, "asks for 8 decimal places"));
  for (std::uint16_t id = 63; id <= 67; ++id) CHECK(tells(pool, id, "the scale"));
  CHECK(pool.problems.size() == 11);
}

TEST_CASE("device pool check: a second check replaces the first, and too many problems are counted") {
  PoolWriter w = good_pool();
  for (unsigned i = 0; i < 500; ++i) w.element(1000 + i, 9, 100 + i, 2);
  DevicePool pool = checked(w);
  CHECK(pool.problems.size() == kMaxPoolProblems);
  CHECK(pool.problems_not_listed == 300);
  check_device_pool(pool, std::nullopt);
  CHECK(pool.problems.size() == kMaxPoolProblems);
  CHECK(pool.problems_not_listed == 300);
}

TEST_CASE("device pool: further parts") {
  DevicePool pool = checked(good_pool(), Name(kDrillName + 1));
  const std::size_t bytes = pool.bytes;
  SECTION("another language: device and presentations are replaced") {
    PoolWriter part;
    part.device("S\xC3\xA4maschine").presentation(30, 0, 0.00892f, 2, "lb/ac").presentation(31, 0, 1, 0, "m");
    merge_device_pool(pool, parse_device_pool(part.data()));
    CHECK(pool.device->designator == "S\u00e4maschine");
    CHECK(pool.device->offset == bytes);
    REQUIRE(pool.presentations.size() == 2);
    CHECK(pool.presentation_by_id(30)->unit == "lb/ac");
    CHECK(pool.presentation({18, 6})->unit == "lb/ac");
    CHECK(pool.presentation_by_id(31)->offset == bytes + part.size() - 16);
    CHECK(pool.elements.size() == 5);
    CHECK(pool.bytes == bytes + part.size());
    CHECK(pool.bytes_read == pool.bytes);
    CHECK(pool.problems.empty());  // the wrong NAME went with the old object
    check_device_pool(pool, Name(kDrillName));
    CHECK(all_problems(pool).empty());
  }
  SECTION("more objects, and ids again: the later one counts, of any class") {
    PoolWriter part;
    part.element(5, 3, 18, 2, {70}, "Fertilizer").variable(70, 7).element(71, 3, 19, 2).property(11, 99, 4);
    merge_device_pool(pool, parse_device_pool(part.data()));
    CHECK(pool.element_words(18) == "Fertilizer");
    CHECK(pool.elements.size() == 6);
    CHECK(pool.elements[4].id == 5);  // in its old place
    CHECK(pool.elements[5].id == 71);
    CHECK(pool.variable({18, 6}) == nullptr);
    CHECK(pool.variable({18, 7}) == pool.variable_by_id(70));
    CHECK(pool.variable_by_id(11) == nullptr);
    REQUIRE(pool.property_by_id(11) != nullptr);
    CHECK(pool.property_by_id(11)->value == 4);
    CHECK(pool.variables.size() == 2);
    CHECK(pool.children_of(2) == std::vector<std::size_t>{2, 3, 4, 5});
  }
  SECTION("a part with faults tells them at their place") {
    PoolWriter part;
    part.variable(80, 7).raw({1, 2, 3});
    merge_device_pool(pool, parse_device_pool(part.data()));
    CHECK(pool.problems.back().offset == bytes + 12);
    CHECK(pool.problems.back().broken);
    CHECK(pool.bytes_read == bytes + 12);
  }
  SECTION("a device object of another id is not taken") {
    PoolWriter part;
    part.device("Other", 90);
    merge_device_pool(pool, parse_device_pool(part.data()));
    CHECK(pool.device->designator == "Drill");
    CHECK(tells(pool, 90, "further device object"));
  }
  SECTION("an id twice within the part: the first counts") {
    PoolWriter part;
    part.presentation(30, 0, 1, 0, "first").presentation(30, 0, 1, 0, "second");
    for (int i = 0; i < 3; ++i) merge_device_pool(pool, parse_device_pool(part.data()));
    CHECK(pool.presentations.size() == 1);
    CHECK(pool.presentation_by_id(30)->unit == "first");
  }
  SECTION("into nothing") {
    DevicePool fresh;
    merge_device_pool(fresh, pool);
    CHECK(fresh.objects() == pool.objects());
    CHECK(fresh.variable({18, 6}) == &fresh.variables[1]);
  }
  SECTION("without end") {
    PoolWriter part;
    part.element(5, 3, 18, 2, std::vector<unsigned>(60000, 11));
    const DevicePool more = parse_device_pool(part.data());
    for (int i = 0; i < 20; ++i) merge_device_pool(pool, more);
    CHECK(pool.bytes <= kMaxPoolBytes);
    CHECK(pool.elements.size() == 5);
    CHECK(tells(pool, kNullObject, "was left out"));
  }
}

TEST_CASE("device pool: designators change") {
  DevicePool pool = parse_device_pool(good_pool().data());
  CHECK(change_designator(pool, {5, "Rape"}));
  CHECK(pool.element_words(18) == "Rape");
  CHECK(change_designator(pool, {0, "Drill 9 m"}));
  CHECK(pool.device->designator == "Drill 9 m");
  CHECK(change_designator(pool, {11, "Rate"}));
  CHECK(pool.variable_by_id(11)->designator == "Rate");
  CHECK(change_designator(pool, {21, "X"}));
  CHECK(pool.property_by_id(21)->designator == "X");
  CHECK_FALSE(change_designator(pool, {30, "m"}));  // a presentation has a unit, no designator
  CHECK_FALSE(change_designator(pool, {99, "m"}));
}

TEST_CASE("device pool: large ones are read and checked without delay") {
  // As many elements as ids allow, each listing one variable; then all of the space with references to
  // nothing.
  PoolWriter wide;
  wide.device().element(1, 1, 0, 0);
  for (unsigned i = 2; i < 24000; ++i) wide.element(i, 4, i % 4096, i - 1, {i + 30000});
  for (unsigned i = 2; i < 24000; ++i) wide.variable(i + 30000, i);
  PoolWriter deep;
  while (deep.size() < 900'000)
    deep.element(static_cast<unsigned>(deep.size() % 60000), 4, 1, 3, std::vector<unsigned>(500, 7));
  PoolWriter letters;  // may be objects everywhere, and are none
  while (letters.size() < 1'000'000) letters.letters("DETxx").raw({0, 0xFF});
  for (const PoolWriter* w : {&wide, &deep, &letters}) {
    const auto begin = std::chrono::steady_clock::now();
    DevicePool pool = checked(*w, Name(1));
    merge_device_pool(pool, DevicePool(pool));
    const std::chrono::duration<double> taken = std::chrono::steady_clock::now() - begin;
    CHECK(pool.problems.size() <= kMaxPoolProblems);
    CHECK(taken.count() < 20);  // with sanitizers, on a busy machine; quadratic would be minutes
  }
}
