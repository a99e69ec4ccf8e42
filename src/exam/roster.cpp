#include "exam/roster.hpp"

#include <fmt/format.h>

#include <algorithm>

#include "base/text.hpp"

namespace tramlog {
namespace {

constexpr unsigned kExactSpecificity = 100;

template <class T>
bool fits(const std::optional<T>& wanted, T found) {
  return !wanted || *wanted == found;
}

bool fits_job(const NamePattern& pattern, Name name) {
  return fits(pattern.manufacturer_code, name.manufacturer_code()) &&
         fits(pattern.ecu_instance, name.ecu_instance()) &&
         fits(pattern.function_instance, name.function_instance()) &&
         fits(pattern.function, name.function()) && fits(pattern.device_class, name.device_class()) &&
         fits(pattern.device_class_instance, name.device_class_instance()) &&
         fits(pattern.industry_group, name.industry_group());
}

void append_field(std::string& text, std::string_view term, const std::optional<std::uint32_t>& value) {
  if (value) text += fmt::format("{}{} {}", text.empty() ? "" : ", ", term, *value);
}

}  // namespace

bool NamePattern::matches(Name name) const {
  if (exact) return *exact == name;
  return fits_job(*this, name) && fits(identity_number, name.identity_number()) &&
         fits(self_configurable_address, name.self_configurable_address());
}

bool NamePattern::matches_job(Name name) const {
  return exact ? exact->same_job(name) : fits_job(*this, name);
}

unsigned NamePattern::specificity() const {
  if (exact) return kExactSpecificity;
  const auto one = [](const auto& field) { return field.has_value() ? 1u : 0u; };
  return one(identity_number) + one(manufacturer_code) + one(ecu_instance) + one(function_instance) +
         one(function) + one(device_class) + one(device_class_instance) + one(industry_group) +
         one(self_configurable_address);
}

std::string NamePattern::describe() const {
  if (exact) return "NAME " + exact->hex();
  std::string text;
  append_field(text, "industry group", industry_group);
  append_field(text, "device class", device_class);
  append_field(text, "device class instance", device_class_instance);
  append_field(text, "function", function);
  append_field(text, "function instance", function_instance);
  append_field(text, "ECU instance", ecu_instance);
  append_field(text, "manufacturer code", manufacturer_code);
  append_field(text, "identity number", identity_number);
  if (self_configurable_address)
    text += fmt::format("{}self-configurable address {}", text.empty() ? "" : ", ",
                        *self_configurable_address ? "yes" : "no");
  return text;
}

std::string_view side_text(Side side) {
  return side == Side::implement ? "implement" : "tractor";
}

std::string_view silence_text(SoftwareSilence silence) {
  switch (silence) {
    case SoftwareSilence::never_asked:
      return "it was never asked";
    case SoftwareSilence::refused:
      return "it refused the request (NACK)";
    case SoftwareSilence::no_answer:
      return "it did not answer within 1.25 s";
    case SoftwareSilence::broken_off:
      return "its answer was broken off";
    case SoftwareSilence::busy:
      return "it was busy and could not answer";
    case SoftwareSilence::reported_nothing:
      return "it answered without any text";
  }
  return "the reason is not known";
}

SoftwareCheck check_software(const std::vector<std::string>& patterns,
                             const std::vector<std::string>& texts) {
  SoftwareCheck check;
  if (patterns.empty()) return check;
  std::vector<std::string> reported;
  for (const std::string& text : texts) {
    std::string clean = printable_utf8(trimmed(text));
    if (!clean.empty()) reported.push_back(std::move(clean));
  }
  if (reported.empty()) {
    check.verdict = SoftwareVerdict::unknown;
    return check;
  }
  for (const std::string& pattern : patterns) {
    // An exact text is tried first, so that a version with a bracket in it needs no escaping.
    const bool met = std::any_of(reported.begin(), reported.end(), [&](const std::string& text) {
      return text == pattern || matches_glob(pattern, text);
    });
    if (!met) check.unmet.push_back(pattern);
  }
  check.verdict = check.unmet.empty() ? SoftwareVerdict::ok : SoftwareVerdict::wrong;
  return check;
}

}  // namespace tramlog
