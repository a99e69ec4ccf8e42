#include "stage/pool_writer.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <bit>

#include "stage/process_bytes.hpp"

namespace tramlog::stage {
namespace {

using Out = std::vector<std::uint8_t>;

// Element types (4.3), properties and trigger methods (4.4).
constexpr unsigned kDevice = 1, kFunction = 2, kBin = 3, kSectionType = 4, kConnector = 6, kReference = 7;
constexpr unsigned kDefaultSet = 0x01, kSettable = 0x02;
constexpr unsigned kTime = 0x01, kDistance = 0x02, kThreshold = 0x04, kChange = 0x08, kTotal = 0x10;
constexpr unsigned kNone = 0xFFFF;

class Writer {
 public:
  unsigned objects = 0;
  Out bytes;

  unsigned variable(unsigned ddi, unsigned properties, unsigned triggers, const char* text,
                    unsigned look = kNone) {
    const unsigned id = begin("DPD");
    put_le(bytes, ddi, 2);
    bytes.push_back(static_cast<std::uint8_t>(properties));
    bytes.push_back(static_cast<std::uint8_t>(triggers));
    string(text);
    put_le(bytes, look, 2);
    return id;
  }
  unsigned property(unsigned ddi, std::int64_t value, const char* text, unsigned look = kNone) {
    const unsigned id = begin("DPT");
    put_le(bytes, ddi, 2);
    put_le(bytes, static_cast<std::uint64_t>(value), 4);
    string(text);
    put_le(bytes, look, 2);
    return id;
  }
  unsigned look(float scale, unsigned decimals, const char* unit) {
    const unsigned id = begin("DVP");
    put_le(bytes, 0, 4);
    put_le(bytes, std::bit_cast<std::uint32_t>(scale), 4);
    bytes.push_back(static_cast<std::uint8_t>(decimals));
    string(unit);
    return id;
  }
  unsigned element(unsigned type, const std::string& text, unsigned number, unsigned parent,
                   const std::vector<unsigned>& references) {
    const unsigned id = begin("DET");
    bytes.push_back(static_cast<std::uint8_t>(type));
    string(text);
    put_le(bytes, number, 2);
    put_le(bytes, parent, 2);
    put_le(bytes, references.size(), 2);
    for (const unsigned reference : references) put_le(bytes, reference, 2);
    return id;
  }
  void string(const std::string& text) { string(bytes, text); }
  static void string(Out& out, const std::string& text) {
    out.push_back(static_cast<std::uint8_t>(std::min<std::size_t>(text.size(), 32)));
    out.insert(out.end(), text.begin(), text.begin() + out.back());
  }

 private:
  unsigned begin(const char* table) {
    bytes.insert(bytes.end(), table, table + 3);
    const unsigned id = next_++;
    put_le(bytes, id, 2);
    ++objects;
    return id;
  }
  unsigned next_ = 1;
};

std::string label_of(const Out& bytes, const std::string& more, std::size_t length) {
  std::uint64_t hash = 0xCBF29CE484222325u;
  for (const std::uint8_t byte : bytes) hash = (hash ^ byte) * 0x100000001B3u;
  for (const char c : more) hash = (hash ^ static_cast<unsigned char>(c)) * 0x100000001B3u;
  std::string label;
  for (; label.size() < length; hash = hash / 31 + (hash << 40))
    label += "0123456789ABCDEFGHJKLMNPQRSTUVWXYZ"[hash % 34];
  return label;
}

const FaultSpec* find(const ImplementSpec& spec, Trouble what) {
  const auto found = std::find_if(spec.faults.begin(), spec.faults.end(),
                                  [&](const FaultSpec& f) { return f.what == what; });
  return found == spec.faults.end() ? nullptr : &*found;
}

struct Looks {
  unsigned mass, volume, count, length, area, time, kilogram, litre, pieces, percent, revolutions, pressure;
};

void write_meters(Writer& out, const ImplementSpec& spec, const ElementNumbers& numbers, unsigned boom,
                  const Looks& looks) {
  for (std::size_t i = 0; i < spec.meters.size(); ++i) {
    const MeterSpec& meter = spec.meters[i];
    const ProductTerms& ddis = terms(meter.product);
    const bool mass = meter.product == Product::mass, volume = meter.product == Product::volume;
    const unsigned rate = mass ? looks.mass : volume ? looks.volume : looks.count;
    const unsigned amount = mass ? looks.kilogram : volume ? looks.litre : looks.pieces;
    const std::vector<unsigned> references = {
        out.variable(ddis.set_ddi, kSettable, kChange, "Set rate", rate),
        out.variable(ddis.actual_ddi, kDefaultSet, kTime | kDistance | kThreshold | kChange, "Actual rate",
                     rate),
        out.property(ddis.minimum_ddi, static_cast<std::int64_t>(meter.minimum), "Smallest rate", rate),
        out.property(ddis.maximum_ddi, static_cast<std::int64_t>(meter.maximum), "Largest rate", rate),
        out.variable(ddis.content_ddi, 0, kTime | kChange, "Content", amount),
        out.property(ddis.capacity_ddi, static_cast<std::int64_t>(meter.capacity), "Capacity", amount),
        out.variable(467, 0, kTime | kChange, "Level", looks.percent),
        out.variable(ddis.total_ddi, kDefaultSet | kSettable, kTime | kTotal, "Applied", amount),
    };
    out.element(kBin, meter.designator, numbers.first_bin + static_cast<unsigned>(i), boom, references);
  }
}

std::vector<unsigned> write_sections(Writer& out, const ImplementSpec& spec, const ElementNumbers& numbers,
                                     unsigned boom, const Looks& looks) {
  std::vector<unsigned> ids;
  const FaultSpec* missing = find(spec, Trouble::missing_offsets);
  const FaultSpec* overlap = find(spec, Trouble::overlap);
  const FaultSpec* swapped = find(spec, Trouble::order_swapped);
  for (std::size_t i = 0; i < spec.sections.size(); ++i) {
    const SectionSpec& section = spec.sections[i];
    std::size_t at = i;
    if (swapped != nullptr && swapped->section < spec.sections.size())
      at = i + 1 == swapped->section ? i + 1 : i == swapped->section ? i - 1 : i;
    std::int32_t y = spec.sections[at].y_mm;
    if (overlap != nullptr && overlap->section == i + 1)
      y -= overlap->strength == 0 ? 300 : static_cast<std::int32_t>(overlap->strength);
    std::vector<unsigned> references = {out.property(134, section.x_mm, "", looks.length)};
    if (missing == nullptr) references.push_back(out.property(135, y, "", looks.length));
    references.push_back(out.property(67, section.width_mm, "", looks.length));
    ids.push_back(out.element(kSectionType, fmt::format("Section {}", i + 1),
                              numbers.first_section + static_cast<unsigned>(i), boom, references));
  }
  return ids;
}

}  // namespace

ElementNumbers number_elements(const ImplementSpec& spec) {
  ElementNumbers numbers;
  numbers.first_section = numbers.first_bin + static_cast<unsigned>(spec.meters.size());
  numbers.blower = numbers.first_section + static_cast<unsigned>(spec.sections.size());
  numbers.reference = numbers.blower + 1;
  return numbers;
}

Pool build_pool(const ImplementSpec& spec, std::uint64_t name) {
  const ElementNumbers numbers = number_elements(spec);
  Writer out;
  Looks looks{};
  looks.mass = out.look(0.01F, 1, "kg/ha");
  looks.volume = out.look(0.0001F, 1, "l/ha");
  looks.count = out.look(0.001F, 1, "1/m2");
  looks.length = out.look(0.001F, 3, "m");
  looks.area = out.look(0.0001F, 2, "ha");
  looks.time = out.look(1.0F / 3600, 2, "h");
  looks.kilogram = out.look(0.001F, 1, "kg");
  looks.litre = out.look(0.001F, 1, "l");
  looks.pieces = out.look(1.0F, 0, "seeds");
  looks.percent = out.look(0.01F, 0, "%");
  looks.revolutions = out.look(0.0001F, 0, "1/min");
  looks.pressure = out.look(0.001F, 1, "mbar");

  const unsigned device = out.element(
      kDevice, spec.designator, numbers.device, 0,
      {out.variable(141, 0, kChange, "Work state"),
       out.variable(116, kDefaultSet | kSettable, kTime | kTotal, "Area", looks.area),
       out.variable(117, kDefaultSet | kSettable, kTime | kTotal, "Distance in work", looks.length),
       out.variable(118, kSettable, kTime | kTotal, "Other distance", looks.length),
       out.variable(119, kDefaultSet | kSettable, kTime | kTotal, "Time in work", looks.time),
       out.variable(397, 0, kTime | kChange, "Speed"), out.variable(400, 0, kChange, "Speed source"),
       out.variable(57343, 0, 0x1F, "Default data")});
  out.element(kConnector, "Drawbar", numbers.connector, device,
              {out.property(157, 1, "Kind"), out.property(134, 0, "", looks.length),
               out.property(135, 0, "", looks.length)});
  std::vector<unsigned> references = {out.variable(141, 0, kChange, "Work state"),
                                      out.variable(289, kSettable, kChange, "Set work state"),
                                      out.variable(160, kSettable, kChange, "Section control"),
                                      out.variable(67, 0, kTime | kChange, "Width in work", looks.length)};
  for (unsigned k = 0; k * 16 < spec.sections.size(); ++k) {
    references.push_back(out.variable(161 + k, 0, kTime | kChange, "Section states"));
    references.push_back(out.variable(290 + k, kSettable, kChange, "Set section states"));
    references.push_back(out.variable(367 + k, 0, kTime | kChange, "Overridden sections"));
  }
  std::int64_t width = spec.width_mm();
  if (const FaultSpec* wrong = find(spec, Trouble::width_wrong))
    width += wrong->strength == 0 ? 700 : static_cast<std::int64_t>(wrong->strength);
  references.push_back(out.property(70, width, "Width", looks.length));
  references.push_back(
      out.property(134, spec.sections.empty() ? 0 : spec.sections.front().x_mm, "", looks.length));
  references.push_back(out.property(135, 0, "", looks.length));
  const unsigned boom = out.element(kFunction, "Boom", numbers.boom, device, references);
  write_meters(out, spec, numbers, boom, looks);
  Pool pool;
  pool.section_object_ids = write_sections(out, spec, numbers, boom, looks);
  references = {out.variable(390, 0, kTime | kChange, "Revolutions", looks.revolutions),
                out.property(392, static_cast<std::int64_t>(spec.blower_minimum * 10'000), "Smallest",
                             looks.revolutions),
                out.property(393, static_cast<std::int64_t>(spec.blower_maximum * 10'000), "Largest",
                             looks.revolutions)};
  if (spec.pressure) {  // 0.1 Pa: 1 mbar is 1000
    references.push_back(out.variable(194, 0, kTime | kChange, "Air pressure", looks.pressure));
    references.push_back(out.property(195, static_cast<std::int64_t>(spec.pressure_minimum * 1000),
                                      "Smallest", looks.pressure));
    references.push_back(out.property(196, static_cast<std::int64_t>(spec.pressure_maximum * 1000), "Largest",
                                      looks.pressure));
  }
  out.element(kFunction, "Blower", numbers.blower, device, references);
  out.element(kReference, "Antenna", numbers.reference, device,
              {out.property(134, 1200, "", looks.length), out.property(135, 0, "", looks.length),
               out.property(136, -3100, "", looks.length)});
  for (unsigned i = 0; i < spec.padding_objects; ++i) out.look(1.0F, i % 4, "unused");

  const std::string label = label_of(out.bytes, spec.designator + spec.software + spec.serial, 7);
  std::copy(label.begin(), label.end(), pool.structure_label.begin());
  std::copy_n(spec.language.begin(), 6, pool.localization_label.begin());
  pool.localization_label[6] = 0xFF;
  pool.bytes = {'D', 'V', 'C', 0, 0};
  Writer::string(pool.bytes, spec.designator);
  Writer::string(pool.bytes, spec.software);
  put_le(pool.bytes, name, 8);
  Writer::string(pool.bytes, spec.serial);
  pool.bytes.insert(pool.bytes.end(), pool.structure_label.begin(), pool.structure_label.end());
  pool.bytes.insert(pool.bytes.end(), pool.localization_label.begin(), pool.localization_label.end());
  if (spec.v4()) {
    const std::string more = label_of(out.bytes, label, 16);
    pool.extended_label.assign(more.begin(), more.end());
    pool.bytes.push_back(static_cast<std::uint8_t>(more.size()));
    pool.bytes.insert(pool.bytes.end(), more.begin(), more.end());
  }
  pool.bytes.insert(pool.bytes.end(), out.bytes.begin(), out.bytes.end());
  if (const FaultSpec* broken = find(spec, Trouble::pool_broken))
    pool.bytes.resize(
        pool.bytes.size() -
        std::min<std::size_t>(pool.bytes.size() / 2,
                              broken->strength <= 0 ? 5 : static_cast<std::size_t>(broken->strength)));
  pool.objects = out.objects + 1;
  return pool;
}

}  // namespace tramlog::stage
