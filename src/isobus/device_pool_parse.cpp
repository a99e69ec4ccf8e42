#include <fmt/format.h>

#include <algorithm>
#include <cstring>
#include <string_view>

#include "base/text.hpp"
#include "base/utf8.hpp"
#include "isobus/device_pool.hpp"

namespace tramlog {
namespace {

constexpr std::size_t kTagBytes = 3;
constexpr std::size_t kHeadBytes = 5;  // three letters and the object id
constexpr std::size_t kLabelBytes = 7;
constexpr std::size_t kMaxExtensionBytes = 32;
constexpr std::size_t kMaxTextBytes = 128,
                      kMaxTextChars = 32;  // version 4; before it 32 bytes (fact sheet, 4)

enum class Tag : std::uint8_t { none, device, element, variable, property, presentation };
struct TagLetters {
  Tag tag;
  std::string_view letters;
};
constexpr TagLetters kTags[] = {{Tag::device, "DVC"},
                                {Tag::element, "DET"},
                                {Tag::variable, "DPD"},
                                {Tag::property, "DPT"},
                                {Tag::presentation, "DVP"}};

std::string_view text_at(Bytes pool, std::size_t at, std::size_t length) {
  return {reinterpret_cast<const char*>(pool.data()) + at, length};
}

Tag tag_at(Bytes pool, std::size_t at) {
  if (pool.size() - at < kTagBytes) return Tag::none;
  for (const TagLetters& known : kTags)
    if (text_at(pool, at, kTagBytes) == known.letters) return known.tag;
  return Tag::none;
}

/// An object begins here, the first letters of one that was cut stand here, or the pool ends.
bool goes_on_at(Bytes pool, std::size_t at) {
  const std::size_t length = std::min(kTagBytes, pool.size() - at);
  return std::any_of(std::begin(kTags), std::end(kTags), [&](const TagLetters& known) {
    return text_at(pool, at, length) == known.letters.substr(0, length);
  });
}

/// How far an object reaches by its own lengths, without looking at anything else.
struct Extent {
  Tag tag = Tag::none;
  bool whole = false;
  std::size_t bytes = 0;  // not whole: at least so many are needed
};

class Stepper {
 public:
  Stepper(Bytes pool, std::size_t at) : pool_(pool), begin_(at), at_(at) {}
  void skip(std::size_t bytes) {
    if (cut_) return;
    at_ += bytes;
    if (at_ > pool_.size()) cut_ = true;
  }
  std::uint8_t peek() const { return pool_[at_]; }
  bool readable(std::size_t bytes) const { return !cut_ && pool_.size() - at_ >= bytes; }
  void skip_text() {
    if (readable(1))
      skip(1u + peek());
    else
      skip(1);
  }
  void skip_list() {
    if (readable(2))
      skip(2 + 2 * std::size_t{load_le16(pool_.data() + at_)});
    else
      skip(2);
  }
  Extent extent(Tag tag) const { return {tag, !cut_, at_ - begin_}; }

 private:
  Bytes pool_;
  std::size_t begin_, at_;
  bool cut_ = false;
};

/// Behind the localization label of version 4 stands a length of 0 to 32, of version 3 the next object or
/// nothing (4.1).
bool has_extension(const Stepper& stepper) {
  return stepper.readable(1) && stepper.peek() <= kMaxExtensionBytes;
}

Extent extent_of(Bytes pool, std::size_t at) {
  const Tag tag = tag_at(pool, at);
  Stepper stepper(pool, at);
  stepper.skip(kHeadBytes);
  switch (tag) {
    case Tag::none:
      return {};
    case Tag::device:
      stepper.skip_text();  // designator
      stepper.skip_text();  // software version
      stepper.skip(8);      // NAME
      stepper.skip_text();  // serial number
      stepper.skip(2 * kLabelBytes);
      if (has_extension(stepper)) stepper.skip_text();
      break;
    case Tag::element:
      stepper.skip(1);  // type
      stepper.skip_text();
      stepper.skip(4);  // number, parent
      stepper.skip_list();
      break;
    case Tag::variable:
      stepper.skip(4);  // DDI, properties, triggers
      stepper.skip_text();
      stepper.skip(2);  // presentation
      break;
    case Tag::property:
      stepper.skip(6);  // DDI, value
      stepper.skip_text();
      stepper.skip(2);  // presentation
      break;
    case Tag::presentation:
      stepper.skip(9);  // offset, scale, decimals
      stepper.skip_text();
      break;
  }
  return stepper.extent(tag);
}

/// The first object in [from, stop) that can be read whole and behind which the pool goes on or ends; `stop`
/// if none.
std::size_t next_object(Bytes pool, std::size_t from, std::size_t stop) {
  while (from < stop) {
    const void* found = std::memchr(pool.data() + from, 'D', stop - from);
    if (found == nullptr) return stop;
    from = static_cast<std::size_t>(static_cast<const std::uint8_t*>(found) - pool.data());
    const Extent extent = extent_of(pool, from);
    if (extent.whole && goes_on_at(pool, from + extent.bytes)) return from;
    ++from;
  }
  return stop;
}

/// Texts that only version 4 allows: told once the version is known.
struct LongText {
  std::size_t offset;
  std::uint16_t object;
  const char* what;
  std::size_t bytes;
};

/// Takes the bytes of one whole object apart.
class Fields {
 public:
  Fields(Bytes pool, std::size_t at, DevicePool& out, std::vector<LongText>& long_texts)
      : at_(pool.data() + at), offset_(at), pool_(out), long_texts_(long_texts) {
    at_ += kTagBytes;
    id_ = u16();
  }
  template <class Object>
  Object begin() const {
    Object object;
    object.id = id_;
    object.offset = offset_;
    return object;
  }
  std::uint8_t u8() { return *at_++; }
  std::uint16_t u16() { return at_ += 2, load_le16(at_ - 2); }
  std::uint32_t u32() { return at_ += 4, load_le32(at_ - 4); }
  Bytes bytes(std::size_t length) { return at_ += length, Bytes(at_ - length, length); }
  std::string text(const char* what) {
    const Bytes raw = bytes(u8());
    std::string shown = descriptor_text(raw);
    const std::string_view as_sent(reinterpret_cast<const char*>(raw.data()), raw.size());
    std::size_t chars = raw.size();
    if (is_utf8(as_sent))
      chars = static_cast<std::size_t>(std::count_if(raw.begin(), raw.end(), [](std::uint8_t byte) {
        return (byte & 0xC0) != 0x80;  // all but the bytes that continue a character
      }));
    else
      tell(fmt::format("the {} is no UTF-8; it was read as windows-1252", what));
    if (chars > kMaxTextChars || raw.size() > kMaxTextBytes)
      tell(fmt::format("the {} has {} characters in {} bytes; at most {} and {} are allowed", what, chars,
                       raw.size(), kMaxTextChars, kMaxTextBytes));
    else if (raw.size() > kMaxTextChars)
      long_texts_.push_back({offset_, id_, what, raw.size()});
    return shown;
  }
  void tell(std::string what) { pool_.add_problem({offset_, id_, std::move(what)}); }

 private:
  const std::uint8_t* at_;
  std::size_t offset_;
  std::uint16_t id_ = 0;
  DevicePool& pool_;
  std::vector<LongText>& long_texts_;
};

class Parser {
 public:
  Parser(Bytes bytes, std::optional<bool> version_4, DevicePool& out)
      : bytes_(bytes), version_4_(version_4), pool_(out) {}

  void run() {
    for (std::size_t at = 0; at < bytes_.size();) {
      const Extent extent = extent_of(bytes_, at);
      const std::size_t end = at + extent.bytes;
      // An object behind which none follows may have swallowed others with a wrong length.
      std::size_t next = bytes_.size();
      if (extent.whole && (goes_on_at(bytes_, end) || (next = next_object(bytes_, at + 1, end)) == end)) {
        read(extent.tag, at, end);
        pool_.bytes_read += extent.bytes;
        at = end;
        continue;
      }
      if (!extent.whole) next = next_object(bytes_, at + 1, bytes_.size());
      tell_damage(extent, at, next);
      at = next;
    }
    tell_long_texts();
  }

 private:
  void tell_damage(const Extent& extent, std::size_t at, std::size_t next) {
    PoolProblem problem{at, kNullObject, {}, true};
    const std::size_t left = bytes_.size() - at;
    if (extent.tag == Tag::none) {
      problem.what = fmt::format("no object begins here (bytes {}{}); {} skipped",
                                 hex_bytes(bytes_.subspan(at, std::min<std::size_t>(left, 8))),
                                 left > 8 ? " .." : "", bytes_words(next - at));
    } else {
      const std::string letters(text_at(bytes_, at, kTagBytes));
      if (left >= kHeadBytes) problem.object = load_le16(bytes_.data() + at + kTagBytes);
      problem.what =
          next == bytes_.size() && !extent.whole
              ? fmt::format("this {} is cut off: it needs at least {}, {} left", letters,
                            bytes_words(extent.bytes), left == 1 ? "1 is" : fmt::format("{} are", left))
              : fmt::format(
                    "the lengths within this {} cannot be right; {} skipped up to the next "
                    "object that can be read",
                    letters, bytes_words(next - at));
    }
    pool_.add_problem(std::move(problem));
  }

  static std::string bytes_words(std::size_t bytes) {
    return bytes == 1 ? "1 byte" : fmt::format("{} bytes", bytes);
  }

  void read(Tag tag, std::size_t at, std::size_t end) {
    Fields fields(bytes_, at, pool_, long_texts_);
    switch (tag) {
      case Tag::device:
        return read_device(fields, end);
      case Tag::element: {
        auto element = fields.begin<ElementObject>();
        element.type = fields.u8();
        element.designator = fields.text("designator");
        element.number = fields.u16();
        element.parent = fields.u16();
        element.references.resize(fields.u16());
        for (std::uint16_t& reference : element.references) reference = fields.u16();
        pool_.elements.push_back(std::move(element));
        return;
      }
      case Tag::variable: {
        auto variable = fields.begin<VariableObject>();
        variable.ddi = fields.u16();
        variable.properties = fields.u8();
        variable.triggers = fields.u8();
        variable.designator = fields.text("designator");
        variable.presentation = fields.u16();
        pool_.variables.push_back(std::move(variable));
        return;
      }
      case Tag::property: {
        auto property = fields.begin<PropertyObject>();
        property.ddi = fields.u16();
        property.value = static_cast<std::int32_t>(fields.u32());
        property.designator = fields.text("designator");
        property.presentation = fields.u16();
        pool_.properties.push_back(std::move(property));
        return;
      }
      case Tag::presentation: {
        auto presentation = fields.begin<PresentationObject>();
        presentation.value_offset = static_cast<std::int32_t>(fields.u32());
        const std::uint32_t scale = fields.u32();
        static_assert(sizeof presentation.scale == sizeof scale);
        std::memcpy(&presentation.scale, &scale, sizeof scale);
        presentation.decimals = fields.u8();
        presentation.unit = fields.text("unit");
        pool_.presentations.push_back(std::move(presentation));
        return;
      }
      case Tag::none:
        return;
    }
  }

  void read_device(Fields& fields, std::size_t end) {
    auto device = fields.begin<DeviceObject>();
    device.designator = fields.text("designator");
    device.software_version = fields.text("software version");
    device.name = Name::from_claim(fields.bytes(8).data());
    device.serial_number = fields.text("serial number");
    const Bytes structure = fields.bytes(kLabelBytes);
    const Bytes localization = fields.bytes(kLabelBytes);
    std::copy_n(localization.begin(), kLabelBytes, device.localization.begin());
    device.extended_form = localization.data() + kLabelBytes != bytes_.data() + end;
    device.structure =
        structure_label_of(structure, device.extended_form ? fields.bytes(fields.u8()) : Bytes{});
    if (version_4_ && *version_4_ != device.extended_form)
      fields.tell(*version_4_
                      ? "the extended structure label is missing, though both partners speak version 4"
                      : "an extended structure label is present, though not both partners speak version 4");
    if (pool_.device)
      fields.tell(
          fmt::format("this is a further device object (DVC), though a pool holds one only; that of byte {} "
                      "is used",
                      pool_.device->offset));
    else
      pool_.device = std::move(device);
  }

  void tell_long_texts() {
    if (!version_4_ && !pool_.device) return;
    if (version_4_.value_or(pool_.device && pool_.device->extended_form)) return;
    for (const LongText& text : long_texts_)
      pool_.add_problem({text.offset, text.object,
                         fmt::format("the {} has {} bytes; before version 4 at most {} are allowed",
                                     text.what, text.bytes, kMaxTextChars)});
  }

  Bytes bytes_;
  std::optional<bool> version_4_;
  DevicePool& pool_;
  std::vector<LongText> long_texts_;
};

}  // namespace

DevicePool parse_device_pool(Bytes bytes, std::optional<bool> version_4) {
  DevicePool pool;
  pool.bytes = bytes.size();
  if (bytes.size() > kMaxPoolBytes) {
    pool.add_problem({kMaxPoolBytes, kNullObject,
                      fmt::format("the pool has {} bytes; what stands behind the first {} was not read",
                                  bytes.size(), kMaxPoolBytes),
                      true});
    bytes = bytes.first(kMaxPoolBytes);
  }
  Parser(bytes, version_4, pool).run();
  pool.index_objects();
  return pool;
}

}  // namespace tramlog
