// The keys of a roster file, shared by its reader and its writer.
#pragma once

#include <array>
#include <span>
#include <string>
#include <string_view>

#include "exam/roster.hpp"

namespace tramlog {

/// A numeric NAME field: its key, its largest value (its width in bits, ISO 11783-5), and where it goes.
struct NameFieldKey {
  std::string_view key;
  std::uint32_t max;
  std::optional<std::uint32_t> NamePattern::*member;
};

inline constexpr std::array<NameFieldKey, 8> kNameFields{{
    {"industry_group", (1u << 3) - 1, &NamePattern::industry_group},
    {"device_class", (1u << 7) - 1, &NamePattern::device_class},
    {"device_class_instance", (1u << 4) - 1, &NamePattern::device_class_instance},
    {"function", (1u << 8) - 1, &NamePattern::function},
    {"function_instance", (1u << 5) - 1, &NamePattern::function_instance},
    {"ecu_instance", (1u << 3) - 1, &NamePattern::ecu_instance},
    {"manufacturer_code", (1u << 11) - 1, &NamePattern::manufacturer_code},
    {"identity_number", (1u << 21) - 1, &NamePattern::identity_number},
}};
inline constexpr std::string_view kSelfConfigurableKey = "self_configurable_address";

inline constexpr std::array<std::string_view, 9> kNameKeys{
    kNameFields[0].key, kNameFields[1].key, kNameFields[2].key, kNameFields[3].key,  kNameFields[4].key,
    kNameFields[5].key, kNameFields[6].key, kNameFields[7].key, kSelfConfigurableKey};
inline constexpr std::array<std::string_view, 6> kEntryKeys{"label",    "name",   "software",
                                                            "required", "supply", "side"};
inline constexpr std::array<std::string_view, 2> kRootKeys{"machine", "controller"};

/// Functions below mean the same everywhere; from here on the device class decides (fact sheet 2.1).
inline constexpr std::uint32_t kFirstClassFunction = 128;

/// What to do about a key that is not in `known`: the nearest known one, or all of them.
std::string unknown_key_remedy(std::string_view key, std::span<const std::string_view> known);

}  // namespace tramlog
