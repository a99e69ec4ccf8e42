// A process data variable and its values in words, by the data dictionary (ISO 11783-11; fact sheet, process data, 4.7, 5.2 and 8).
#pragma once

#include <cstdint>
#include <string>

#include "schema/schema.hpp"

namespace tramlog {

/// "Actual Mass Per Area Application Rate (DDI 7) of element 18"; an unknown DDI is told by its number.
std::string variable_words(const Schema& schema, std::uint16_t element, std::uint16_t ddi);
/// "18000 mg/m2 (180.00 kg/ha)", "sections 1 to 8 on, 9 to 12 off", "raw 42" for a DDI that the dictionary
/// does not have.
std::string value_words(const Schema& schema, std::uint16_t ddi, std::uint32_t raw);
/// A difference or threshold in the DDI's unit.
std::string plain_value_words(const Schema& schema, std::uint16_t ddi, std::uint32_t raw);

}  // namespace tramlog
