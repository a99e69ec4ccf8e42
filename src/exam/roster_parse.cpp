// TOML to Roster. Every value is checked where it stands, so that the message can name line and column.
#include <fmt/format.h>

#include <algorithm>
#include <map>

#include "base/text.hpp"
#include "base/toml.hpp"
#include "exam/roster.hpp"
#include "exam/roster_keys.hpp"

namespace tramlog {
namespace {

constexpr std::size_t kShownBytes = 60;

/// User text for a message: printable, in quotes, not too long.
std::string shown(std::string_view text) {
  const bool cut = text.size() > kShownBytes;
  std::size_t end = cut ? kShownBytes : text.size();
  while (cut && end > 0 && (static_cast<unsigned char>(text[end]) & 0xC0) == 0x80) --end;
  return fmt::format("\"{}{}\"", printable_utf8(text.substr(0, end)), cut ? "..." : "");
}

std::string_view type_text(const toml::node& node) {
  switch (node.type()) {
    case toml::node_type::table:
      return "a table";
    case toml::node_type::array:
      return "an array";
    case toml::node_type::string:
      return "a text";
    case toml::node_type::integer:
      return "a whole number";
    case toml::node_type::floating_point:
      return "a number with a fraction";
    case toml::node_type::boolean:
      return "true or false";
    default:
      return "a date or time";
  }
}

class RosterReader {
 public:
  explicit RosterReader(const std::string& file) { roster_.file = file; }

  Result<Roster> read(const toml::table& root) {
    if (!read_root(root)) return error_;
    return std::move(roster_);
  }

 private:
  /// Notes the error and is false, so that every step can end with `return fail(...)`.
  bool fail(const toml::source_region& at, std::string what, std::string remedy) {
    error_ = {ErrorKind::input, std::move(what),
              fmt::format("{}:{}:{}", roster_.file, at.begin.line, at.begin.column), std::move(remedy)};
    return false;
  }

  void warn(const toml::node& at, std::string_view sentence) {
    roster_.warnings.push_back(fmt::format("{}:{}: {}", roster_.file, at.source().begin.line, sentence));
  }

  bool wrong_type(const toml::node& node, std::string_view key, std::string_view expected,
                  std::string remedy) {
    return fail(node.source(), fmt::format("`{}` must be {}, but it is {}", key, expected, type_text(node)),
                std::move(remedy));
  }

  bool check_keys(const toml::table& table, std::span<const std::string_view> known, std::string_view place) {
    for (const auto& [key, node] : table) {
      if (std::find(known.begin(), known.end(), key.str()) != known.end()) continue;
      return fail(key.source().begin ? key.source() : node.source(),
                  fmt::format("unknown key {} in {}", shown(key.str()), place),
                  unknown_key_remedy(key.str(), known));
    }
    return true;
  }

  bool read_text(const toml::node& node, std::string_view key, std::size_t max_bytes, std::string& into) {
    const auto* text = node.as_string();
    if (!text) return wrong_type(node, key, "a text", fmt::format("write {} = \"...\"", key));
    const std::string_view value = text->get();
    if (trimmed(value).empty())
      return fail(node.source(), fmt::format("`{}` is empty", key), "write a text or leave the line out");
    if (value.size() > max_bytes)
      return fail(node.source(),
                  fmt::format("`{}` has {} bytes, at most {} are allowed", key, value.size(), max_bytes),
                  "shorten it");
    if (printable_utf8(value) != value)
      return fail(node.source(), fmt::format("`{}` holds a control character: {}", key, shown(value)),
                  "remove it");
    into = value;
    return true;
  }

  bool read_flag(const toml::node& node, std::string_view key, bool& into) {
    const auto* flag = node.as_boolean();
    if (!flag)
      return wrong_type(node, key, "true or false", fmt::format("write {} = true or {} = false", key, key));
    into = flag->get();
    return true;
  }

  bool read_field(const toml::node& node, const NameFieldKey& field, NamePattern& into) {
    const auto* number = node.as_integer();
    const std::string range = fmt::format("a whole number from 0 to {}", field.max);
    if (!number)
      return wrong_type(node, field.key, range, fmt::format("write it without quotes, as {} = 1", field.key));
    const std::int64_t value = number->get();
    if (value < 0 || value > std::int64_t{field.max})
      return fail(node.source(), fmt::format("`{}` must be {}, but it is {}", field.key, range, value),
                  "correct the number, or leave the field out to accept any");
    into.*field.member = static_cast<std::uint32_t>(value);
    return true;
  }

  bool read_name(const toml::node& node, NamePattern& into) {
    if (const auto* text = node.as_string()) {
      into.exact = Name::from_hex(text->get());
      if (into.exact) return true;
      return fail(
          node.source(), fmt::format("`name` must be 16 hex digits, but it is {}", shown(text->get())),
          "write the NAME as in a report, \"a0088000b5e0d6d9\", or some of its fields, { function = 128 }");
    }
    const auto* table = node.as_table();
    if (!table)
      return wrong_type(node, "name", "a table of NAME fields or a text of 16 hex digits",
                        "write name = { function = 128, function_instance = 0 }");
    if (!check_keys(*table, kNameKeys, "`name`")) return false;
    if (table->empty())
      return fail(node.source(), "`name` has no field", "write at least one, as name = { function = 128 }");
    for (const NameFieldKey& field : kNameFields)
      if (const toml::node* value = table->get(field.key); value && !read_field(*value, field, into))
        return false;
    if (const toml::node* value = table->get(kSelfConfigurableKey)) {
      bool flag = false;
      if (!read_flag(*value, kSelfConfigurableKey, flag)) return false;
      into.self_configurable_address = flag;
    }
    warn_if_vague(node, into);
    return true;
  }

  void warn_if_vague(const toml::node& node, const NamePattern& name) {
    if (!name.function && !name.identity_number)
      warn(node, "without `function` or `identity_number` this entry may fit several controllers");
    else if (name.function && *name.function >= kFirstClassFunction && !name.device_class &&
             !name.identity_number)
      warn(node, "the meaning of a function from 128 up depends on the device class: add `device_class`");
  }

  bool read_software(const toml::node& node, std::vector<std::string>& into) {
    const auto* list = node.as_array();
    if (!list)
      return wrong_type(node, "software", "an array of texts",
                        "write it in brackets, as software = [\"MTR 4.*\"]");
    if (list->size() > kMaxSoftwarePatterns)
      return fail(node.source(),
                  fmt::format("`software` has {} patterns, at most {} are allowed", list->size(),
                              kMaxSoftwarePatterns),
                  "use * and ? to say the same with fewer");
    for (const toml::node& item : *list) {
      std::string pattern;
      if (!read_text(item, "software", kMaxPatternBytes, pattern)) return false;
      warn_about_pattern(item, pattern, into);
      into.push_back(std::move(pattern));
    }
    return true;
  }

  void warn_about_pattern(const toml::node& at, const std::string& pattern,
                          const std::vector<std::string>& before) {
    if (trimmed(pattern).size() != pattern.size())
      warn(at, fmt::format("the pattern {} begins or ends with a blank, reported texts never do",
                           shown(pattern)));
    if (std::find(before.begin(), before.end(), pattern) != before.end())
      warn(at, fmt::format("the pattern {} is there twice", shown(pattern)));
  }

  bool read_side(const toml::node& node, std::optional<Side>& into) {
    std::string word;
    if (!read_text(node, "side", kMaxRosterTextBytes, word)) return false;
    if (word == side_text(Side::implement)) into = Side::implement;
    if (word == side_text(Side::tractor)) into = Side::tractor;
    if (into) return true;
    return fail(node.source(),
                fmt::format("`side` must be \"implement\" or \"tractor\", but it is {}", shown(word)),
                "write the side of the hitch connector it sits on, or leave it out");
  }

  bool read_entry(const toml::table& table, RosterEntry& entry) {
    entry.line = table.source().begin.line;
    if (!check_keys(table, kEntryKeys, "[[controller]]")) return false;
    const toml::node* label = table.get("label");
    if (!label) return fail(table.source(), "a [[controller]] has no `label`", "add label = \"...\"");
    if (!read_text(*label, "label", kMaxRosterTextBytes, entry.label)) return false;
    const toml::node* name = table.get("name");
    if (!name)
      return fail(table.source(), fmt::format("the entry {} has no `name`", shown(entry.label)),
                  "add name = { function = 128 } or name = \"<16 hex digits>\"; addresses do not identify a "
                  "controller");
    if (!read_name(*name, entry.name)) return false;
    const toml::node* software = table.get("software");
    if (software && !read_software(*software, entry.software)) return false;
    const toml::node* required = table.get("required");
    if (required && !read_flag(*required, "required", entry.required)) return false;
    if (const toml::node* supply = table.get("supply")) {
      if (!read_text(*supply, "supply", kMaxRosterTextBytes, entry.supply.emplace())) return false;
      warn_about_supply(*supply, *entry.supply);
    }
    const toml::node* side = table.get("side");
    return (!side || read_side(*side, entry.side)) && check_unique(*label, *name, entry);
  }

  /// Two supplies that differ in case only are one supply with a typing error, and would not be grouped.
  void warn_about_supply(const toml::node& at, const std::string& supply) {
    const auto [first, fresh] = supplies_.emplace(ascii_lower(supply), supply);
    if (!fresh && first->second != supply)
      warn(at, fmt::format("supply {} and {} differ in spelling only and count as two", shown(first->second),
                           shown(supply)));
  }

  bool check_unique(const toml::node& label, const toml::node& name, const RosterEntry& entry) {
    for (const RosterEntry& other : roster_.entries) {
      if (other.label == entry.label)
        return fail(label.source(),
                    fmt::format("the label {} is already used in line {}", shown(entry.label), other.line),
                    "give every entry its own label");
      if (other.name == entry.name)
        return fail(name.source(),
                    fmt::format("`name` asks for the same as the entry {} in line {}", shown(other.label),
                                other.line),
                    "tell them apart by function_instance, ecu_instance or identity_number");
    }
    return true;
  }

  bool read_root(const toml::table& root) {
    if (!check_keys(root, kRootKeys, "the roster")) return false;
    if (const toml::node* machine = root.get("machine")) {
      if (!read_text(*machine, "machine", kMaxRosterTextBytes, roster_.machine)) return false;
    } else {
      warn(root, "no `machine`: reports will not say which machine was checked");
    }
    const toml::node* list = root.get("controller");
    if (!list)
      return fail(root.source(), "the roster has no [[controller]]", "add one for each expected controller");
    const auto* controllers = list->as_array();
    if (!controllers)
      return wrong_type(*list, "controller", "an array of tables", "write [[controller]], with two brackets");
    if (controllers->empty())
      return fail(list->source(), "the roster has no [[controller]]", "add one for each expected controller");
    if (controllers->size() > kMaxRosterEntries)
      return fail(list->source(),
                  fmt::format("the roster has {} entries, at most {} are allowed", controllers->size(),
                              kMaxRosterEntries),
                  "split it into one roster for each machine");
    for (const toml::node& node : *controllers) {
      const auto* table = node.as_table();
      if (!table) return wrong_type(node, "controller", "a table", "write [[controller]], with two brackets");
      RosterEntry entry;
      if (!read_entry(*table, entry)) return false;
      roster_.entries.push_back(std::move(entry));
    }
    return true;
  }

  Roster roster_;
  Error error_;
  std::map<std::string, std::string> supplies_;  // lower case: as first written
};

}  // namespace

Result<Roster> parse_roster(std::string_view text, const std::string& file) {
  if (text.size() > kMaxRosterBytes)
    return Error{ErrorKind::input,
                 fmt::format("the roster has {} bytes, at most {} are allowed", text.size(), kMaxRosterBytes),
                 file, "check that this is a roster"};
  toml::table table;
  if (const auto problem = parse_toml(text, file, table))
    return Error{ErrorKind::input, "not TOML: " + problem->what,
                 fmt::format("{}:{}:{}", file, problem->line, problem->column), "correct this line"};
  return RosterReader(file).read(table);
}

}  // namespace tramlog
