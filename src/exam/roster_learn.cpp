// Controllers of a good capture to a roster text.
#include <fmt/format.h>

#include <algorithm>
#include <map>
#include <set>
#include <tuple>

#include "base/text.hpp"
#include "exam/roster.hpp"
#include "exam/roster_keys.hpp"

namespace tramlog {
namespace {

constexpr std::size_t kSoftwareBytesOfEntry = 2048;  // keeps the text within kMaxRosterBytes

// Everything an entry asks for: all but identity number, the reserved bit 48 and bit 63.
constexpr std::uint64_t kJobMask = 0x7FFEFFFFFFE00000ull;

std::uint64_t job_of(Name name) {
  return name.raw() & kJobMask;
}

/// The longest beginning of at most `max_bytes` that cuts no UTF-8 character.
std::string_view beginning(std::string_view text, std::size_t max_bytes) {
  if (text.size() <= max_bytes) return text;
  std::size_t end = max_bytes;
  while (end > 0 && (static_cast<unsigned char>(text[end]) & 0xC0) == 0x80) --end;
  return text.substr(0, end);
}

/// A TOML basic string; `text` is printable UTF-8.
std::string quoted(std::string_view text) {
  std::string out = "\"";
  for (const char c : text) {
    if (c == '"' || c == '\\') out += '\\';
    out += c;
  }
  return out + '"';
}

/// A pattern that matches exactly this text, or its beginning if that would be too long.
std::string exact_pattern(std::string_view text) {
  std::string pattern;
  std::size_t at = 0;
  while (at < text.size()) {
    std::size_t length = 1;
    while (at + length < text.size() && (static_cast<unsigned char>(text[at + length]) & 0xC0) == 0x80)
      ++length;
    const std::string_view character = text.substr(at, length);
    const bool special = character == "*" || character == "?" || character == "[";
    if (pattern.size() + length + 3 > kMaxPatternBytes) return pattern + '*';
    pattern += special ? fmt::format("[{}]", character) : std::string(character);
    at += length;
  }
  return pattern;
}

/// Sets `cut` if not all texts found room.
std::vector<std::string> software_patterns(const std::vector<std::string>& texts, bool& cut) {
  std::vector<std::string> patterns;
  std::size_t bytes = 0;
  for (const std::string& text : texts) {
    std::string pattern = exact_pattern(printable_utf8(trimmed(text)));
    if (pattern.empty() || std::find(patterns.begin(), patterns.end(), pattern) != patterns.end()) continue;
    bytes += pattern.size();
    cut = patterns.size() == kMaxSoftwarePatterns || bytes > kSoftwareBytesOfEntry;
    if (cut) break;
    patterns.push_back(std::move(pattern));
  }
  return patterns;
}

// Terms of fact sheet 2.3 to 2.5. A guess only: the file asks its reader to check.
std::optional<Side> guessed_side(Name name) {
  constexpr std::uint32_t kAgriculture = 2, kTractorClass = 1, kFirstImplementClass = 2, kLastKnownClass = 29;
  const std::uint32_t device_class = name.device_class();
  if (name.function() < kFirstClassFunction) {
    // Engine, transmission, PTO, axles, brakes, instruments, GNSS, front PTO, terminal, cab, file server.
    static const std::set<std::uint32_t> kOfTractor{0, 3, 6, 7, 8, 9, 19, 23, 27, 29, 37, 60, 82};
    if (device_class <= kTractorClass && kOfTractor.count(name.function()) != 0) return Side::tractor;
  }
  if (name.industry_group() != kAgriculture) return {};
  if (device_class == kTractorClass) return Side::tractor;
  if (device_class >= kFirstImplementClass && device_class <= kLastKnownClass && device_class != 17 &&
      device_class != 18)  // sensor systems sit on either side
    return Side::implement;
  // Non-VT display, operator controls, task controller, tractor ECU, TIM server.
  static const std::set<std::uint32_t> kOfTractorAgriculture{128, 129, 130, 134, 142};
  if (device_class == 0 && kOfTractorAgriculture.count(name.function()) != 0) return Side::tractor;
  return {};
}

class RosterWriter {
 public:
  RosterWriter(std::string_view machine, const std::vector<LearnedController>& controllers)
      : machine_(machine), controllers_(controllers) {
    for (const LearnedController& controller : controllers_) {
      ++jobs_[job_of(controller.name)];
      ++terms_[function_term(controller.name)];
    }
  }

  std::string write() {
    out_ =
        "# Learned from a capture. Check the labels and sides, and set required = false for what may be "
        "absent.\n";
    const std::string machine = printable_utf8(trimmed(machine_));
    const std::string_view shown = beginning(machine, kMaxRosterTextBytes);
    out_ += shown.empty() ? "# machine = \"\"  # fill in\n" : fmt::format("machine = {}\n", quoted(shown));
    if (controllers_.empty())
      out_ += "\n# No controller was seen: add a [[controller]] for each expected one.\n";
    for (const LearnedController& controller : controllers_) write_entry(controller);
    return std::move(out_);
  }

 private:
  void write_entry(const LearnedController& controller) {
    const Name name = controller.name;
    out_ += fmt::format("\n# {}, {}; NAME {}, identity number {}, address {}\n", function_term(name),
                        device_class_term(name.industry_group(), name.device_class()), name.hex(),
                        name.identity_number(), controller.address);
    out_ += fmt::format("[[controller]]\nlabel = {}\n", quoted(label_for(name)));
    if (jobs_[job_of(name)] > 1) {
      out_ +=
          "# Another controller differs in identity number only, so this is the exact NAME: a swapped unit "
          "will "
          "not match.\n";
      out_ += fmt::format("name = \"{}\"\n", name.hex());
    } else {
      out_ += fmt::format("name = {{ {} }}\n", fields_of(name));
    }
    write_software(controller.software);
    out_ += "# supply = \"\"  # fill in: controllers that share a power feed carry the same word\n";
    if (const auto side = guessed_side(name))
      out_ += fmt::format("# The side is a guess from the function: check it.\nside = \"{}\"\n",
                          side_text(*side));
    else
      out_ += "# side = \"implement\"  # fill in: or \"tractor\"\n";
  }

  void write_software(const std::vector<std::string>& texts) {
    bool cut = false;
    const std::vector<std::string> patterns = software_patterns(texts, cut);
    if (cut) out_ += "# It reported more software texts than are kept here.\n";
    if (patterns.empty()) {
      out_ += "# software = []  # none was reported; left out, any is accepted\n";
      return;
    }
    out_ += "software = [";
    for (std::size_t i = 0; i < patterns.size(); ++i) out_ += (i == 0 ? "" : ", ") + quoted(patterns[i]);
    out_ += "]\n";
  }

  static std::string fields_of(Name name) {
    return fmt::format(
        "industry_group = {}, device_class = {}, device_class_instance = {}, function = {}, "
        "function_instance = {}, "
        "ecu_instance = {}, manufacturer_code = {}",
        name.industry_group(), name.device_class(), name.device_class_instance(), name.function(),
        name.function_instance(), name.ecu_instance(), name.manufacturer_code());
  }

  /// The function's term; where several share it, with the instance counted from 1 as on the machine's
  /// terminal.
  std::string label_for(Name name) {
    const std::string term = function_term(name);
    std::string label = printable_utf8(beginning(term, kMaxRosterTextBytes / 2));
    if (terms_[term] > 1) label += fmt::format(" {}", name.function_instance() + 1);
    const std::string base = label;
    for (std::size_t n = ++uses_[base]; !labels_.insert(label).second; ++n)
      label = fmt::format("{} ({})", base, n);
    return label;
  }

  std::string_view machine_;
  const std::vector<LearnedController>& controllers_;
  std::map<std::uint64_t, std::size_t> jobs_;
  std::map<std::string, std::size_t> terms_;
  std::map<std::string, std::size_t> uses_;
  std::set<std::string> labels_;
  std::string out_;
};

/// In the order of address and NAME, each NAME once.
void put_in_order(std::vector<LearnedController>& controllers) {
  std::stable_sort(controllers.begin(), controllers.end(), [](const auto& a, const auto& b) {
    return std::tuple(a.address, a.name) < std::tuple(b.address, b.name);
  });
  std::set<std::uint64_t> known;
  std::vector<LearnedController> kept;
  for (LearnedController& controller : controllers)
    if (kept.size() < kMaxRosterEntries && known.insert(controller.name.raw()).second)
      kept.push_back(std::move(controller));
  controllers = std::move(kept);
}

}  // namespace

std::string write_roster(std::string_view machine, std::vector<LearnedController> controllers) {
  put_in_order(controllers);
  return RosterWriter(machine, controllers).write();
}

}  // namespace tramlog
