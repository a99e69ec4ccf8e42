// Writes device descriptor objects byte by byte, after the fact sheet (process data, 4); knows nothing of the
// parser.
#pragma once

#include <bit>
#include <cstdint>
#include <string>
#include <vector>

#include "base/bytes.hpp"

namespace tramlog::test {

using PoolData = std::vector<std::uint8_t>;

inline constexpr std::uint64_t kDrillName = 0xA00C80000B200123;

class PoolWriter {
 public:
  const PoolData& data() const { return data_; }
  std::size_t size() const { return data_.size(); }
  PoolWriter& raw(const PoolData& bytes) {
    data_.insert(data_.end(), bytes.begin(), bytes.end());
    return *this;
  }
  PoolWriter& text(const std::string& text) {
    data_.push_back(static_cast<std::uint8_t>(text.size()));
    return letters(text);
  }
  PoolWriter& letters(const std::string& text) {
    data_.insert(data_.end(), text.begin(), text.end());
    return *this;
  }
  PoolWriter& number(std::uint64_t value, unsigned bytes) {
    for (unsigned i = 0; i < bytes; ++i) data_.push_back(static_cast<std::uint8_t>(value >> (8 * i)));
    return *this;
  }
  PoolWriter& device(const std::string& designator = "Drill", unsigned id = 0, const PoolData& extension = {},
                     bool version_4 = false) {
    letters("DVC").number(id, 2).text(designator).text("1.4").number(kDrillName, 8).text("SN7");
    letters("DRILL01").raw({'e', 'n', 0x5F, 0x04, 0x00, 0x05, 0xFF});
    if (version_4) number(extension.size(), 1).raw(extension);
    return *this;
  }
  PoolWriter& element(unsigned id, unsigned type, unsigned number_, unsigned parent,
                      const std::vector<unsigned>& references = {}, const std::string& designator = {}) {
    letters("DET").number(id, 2).number(type, 1).text(designator).number(number_, 2).number(parent, 2);
    number(references.size(), 2);
    for (const unsigned reference : references) number(reference, 2);
    return *this;
  }
  PoolWriter& variable(unsigned id, unsigned ddi, unsigned properties = 0, unsigned triggers = 0,
                       unsigned presentation = 0xFFFF, const std::string& designator = {}) {
    letters("DPD").number(id, 2).number(ddi, 2).number(properties, 1).number(triggers, 1).text(designator);
    return number(presentation, 2);
  }
  PoolWriter& property(unsigned id, unsigned ddi, std::int32_t value, unsigned presentation = 0xFFFF,
                       const std::string& designator = {}) {
    letters("DPT").number(id, 2).number(ddi, 2).number(static_cast<std::uint32_t>(value), 4).text(designator);
    return number(presentation, 2);
  }
  PoolWriter& presentation(unsigned id, std::int32_t offset, float scale, unsigned decimals,
                           const std::string& unit) {
    letters("DVP").number(id, 2).number(static_cast<std::uint32_t>(offset), 4);
    return number(std::bit_cast<std::uint32_t>(scale), 4).number(decimals, 1).text(unit);
  }

 private:
  PoolData data_;
};

}  // namespace tramlog::test
