#include "daemon/config.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <filesystem>

#include "base/text.hpp"
#include "base/toml.hpp"
#include "io/text_file.hpp"

namespace tramlog {
namespace {

constexpr std::string_view kBuiltInText =
#include "daemon/built_in_config.inc"
    ;
constexpr std::size_t kMaxConfigBytes = 256 * 1024;
constexpr std::size_t kLongestInterfaceName = 15;  // IFNAMSIZ - 1
constexpr std::size_t kLongestSocketPath = 107;     // of sockaddr_un
constexpr double kMiB = 1024.0 * 1024.0;

/// Reads one table after the other; the first error ends it.
class ConfigReader {
 public:
  ConfigReader(const std::string& file, Config& config) : file_(file), config_(config) {}

  std::optional<Error> read(const toml::table& root) {
    for (const auto& [key, node] : root) {
      const toml::table* table = node.as_table();
      if (table == nullptr)
        return error_at(node, fmt::format("`{}` stands in no table", printable_utf8(key.str())),
                        "tables are: interfaces, recording, machine, summary, events, control, journal");
      table_ = std::string(key.str());
      known_.clear();
      read_table(*table);
      if (error_) return error_;
      if (known_.empty())
        return error_at(node, "unknown table [" + printable_utf8(table_) + "]",
                        "tables are: interfaces, recording, machine, summary, events, control, journal");
      for (const auto& [name, value] : *table)
        if (std::find(known_.begin(), known_.end(), name.str()) == known_.end()) {
          std::string names;
          for (const std::string& one : known_) names += (names.empty() ? "" : ", ") + one;
          return error_at(value, fmt::format("unknown key `{}` in [{}]", printable_utf8(name.str()), table_), "keys are: " + names);
        }
    }
    return std::nullopt;
  }

 private:
  void read_table(const toml::table& table) {
    if (table_ == "interfaces") {
      texts(table, "listen", config_.interfaces.listen);
      if (const toml::node* node = table.get("listen")) {
        if (config_.interfaces.listen.empty()) fail(*node, "`listen` names no interface", "write names or patterns such as \"can*\"");
        for (const std::string& name : config_.interfaces.listen)
          if (name.empty() || name.size() > kLongestInterfaceName)
            fail(*node, "`listen` holds a name that no interface can have", "an interface's name has 1 to 15 characters; patterns such as \"can*\" are allowed");
      }
      settings(table);
    } else if (table_ == "recording") {
      text(table, "folder", config_.folder, "name a folder");
      amount(table, "segment_mib", config_.segment_bytes, kMiB, 1, 4096);
      span(table, "segment_minutes", config_.segment_span, kMinute, 1.0 / 60, 24 * 60);
      span(table, "sync_ms", config_.sync_every, kMillisecond, 50, 10'000);
      std::uint64_t buffer = config_.buffer_bytes;
      amount(table, "buffer_mib", buffer, kMiB, 1, 4096);
      config_.buffer_bytes = buffer;
      flag(table, "compress", config_.compress);
      amount(table, "keep_gib", config_.keep_bytes, 1024 * kMiB, 0.001, 1'000'000);
      amount(table, "keep_free_mib", config_.keep_free_bytes, kMiB, 0, 1e9);
      span(table, "keep_days", config_.keep_span, 24 * kHour, 1.0 / 24, 36'500);
      span(table, "protect_minutes", config_.protect_span, kMinute, 0, 24 * 60);
      count(table, "protect_each", config_.protect_each, 0, 100'000);
    } else if (table_ == "machine") {
      text(table, "roster", config_.machine.roster);
      texts(table, "schema", config_.machine.schema);
      text(table, "limits", config_.machine.limits);
      text(table, "cause_weights", config_.machine.causes);
      texts(table, "descriptions", config_.machine.descriptions);
      text(table, "library", config_.machine.library);
    } else if (table_ == "summary") {
      span(table, "every_s", config_.summary_every, kSecond, 1, 86'400);
      span(table, "at_least_every_s", config_.summary_at_least_every, kSecond, 1, 86'400);
      count(table, "earlier", config_.summaries_earlier, 0, 10'000);
    } else if (table_ == "events") {
      amount(table, "file_mib", config_.events_bytes, kMiB, 0.01, 4096);
      count(table, "files", config_.events_files, 0, 1000);
    } else if (table_ == "control") {
      text(table, "socket", config_.socket, "name a path for the socket");
      if (config_.socket.size() > kLongestSocketPath) fail(*table.get("socket"), "`socket` is longer than 107 bytes", "name a shorter path");
      text(table, "group", config_.socket_group);
    } else if (table_ == "journal") {
      text(table, "level", config_.journal_level);
      const std::string& level = config_.journal_level;
      if (level != "debug" && level != "info" && level != "warning")
        fail(*table.get("level"), "unknown level \"" + printable_utf8(level) + "\"", "write debug, info or warning");
    }
  }

  void settings(const toml::table& table) {
    known_.emplace_back("settings");
    const toml::node* node = table.get("settings");
    if (node == nullptr || error_) return;
    config_.interfaces.settings.clear();
    const toml::array* list = node->as_array();
    if (list == nullptr) return fail(*node, "`settings` is no list of tables", "write [[interfaces.settings]] once for each interface");
    for (const toml::node& one : *list) {
      const toml::table* entry = one.as_table();
      if (entry == nullptr) return fail(one, "`settings` is no list of tables", "write [[interfaces.settings]] once for each interface");
      InterfaceSettings wish;
      for (const auto& [key, value] : *entry) {
        if (key == "name" && value.is_string()) {
          wish.name = *value.value<std::string>();
        } else if (key == "bitrate" && whole(value, 10'000, 1'000'000)) {
          wish.wish.bitrate = static_cast<std::uint32_t>(*value.value<std::int64_t>());
        } else if (key == "listen_only" && value.is_boolean()) {
          wish.wish.listen_only = *value.value<bool>();
        } else if (key == "restart_ms" && whole(value, 0, 60'000)) {
          wish.wish.restart_ms = static_cast<std::uint32_t>(*value.value<std::int64_t>());
        } else if (key == "error_reporting" && value.is_boolean()) {
          wish.wish.berr_reporting = *value.value<bool>();
        } else {
          return fail(value, fmt::format("`{}` in [[interfaces.settings]] is unknown, of the wrong kind or out of range", printable_utf8(key.str())),
                      "keys are: name (text), bitrate (10000 to 1000000 bit/s), listen_only, restart_ms (0 to 60000), error_reporting");
        }
      }
      if (wish.name.empty()) return fail(*node, "[[interfaces.settings]] without a name", "write name = \"can0\"");
      for (const InterfaceSettings& other : config_.interfaces.settings)
        if (other.name == wish.name) return fail(one, "two [[interfaces.settings]] for " + printable_utf8(wish.name), "write all of it in one");
      config_.interfaces.settings.push_back(std::move(wish));
    }
  }

  static bool whole(const toml::node& node, std::int64_t least, std::int64_t most) {
    const auto value = node.value_exact<std::int64_t>();
    return value && *value >= least && *value <= most;
  }

  const toml::node* find(const toml::table& table, const char* key) {
    known_.emplace_back(key);
    return error_ ? nullptr : table.get(key);
  }

  void text(const toml::table& table, const char* key, std::string& into, const char* must = nullptr) {
    const toml::node* node = find(table, key);
    if (node == nullptr) return;
    if (!node->is_string()) return fail(*node, fmt::format("`{}` must be a text", key), "write it in quotes");
    into = *node->value<std::string>();
    if (must != nullptr && into.empty()) fail(*node, fmt::format("`{}` is empty", key), must);
    if (into.find('\0') != std::string::npos) fail(*node, fmt::format("`{}` holds a zero character", key), "leave it out");
  }

  void texts(const toml::table& table, const char* key, std::vector<std::string>& into) {
    const toml::node* node = find(table, key);
    if (node == nullptr) return;
    const toml::array* list = node->as_array();
    if (list == nullptr) return fail(*node, fmt::format("`{}` must be a list of texts", key), "write [\"..\", \"..\"]");
    into.clear();
    for (const toml::node& one : *list) {
      if (!one.is_string()) return fail(one, fmt::format("`{}` must be a list of texts", key), "write [\"..\", \"..\"]");
      into.push_back(*one.value<std::string>());
    }
  }

  void flag(const toml::table& table, const char* key, bool& into) {
    const toml::node* node = find(table, key);
    if (node == nullptr) return;
    if (!node->is_boolean()) return fail(*node, fmt::format("`{}` must be true or false", key), "write true or false");
    into = *node->value<bool>();
  }

  std::optional<double> number(const toml::table& table, const char* key, double least, double most) {
    const toml::node* node = find(table, key);
    if (node == nullptr) return std::nullopt;
    const auto value = node->is_integer() || node->is_floating_point() ? node->value<double>() : std::nullopt;
    if (!value || !(*value >= least && *value <= most)) {
      fail(*node, fmt::format("`{}` must be a number from {:g} to {:g}", key, least, most), "correct it");
      return std::nullopt;
    }
    return value;
  }

  void amount(const toml::table& table, const char* key, std::uint64_t& into, double unit, double least, double most) {
    if (const auto value = number(table, key, least, most)) into = static_cast<std::uint64_t>(std::llround(*value * unit));
  }
  void span(const toml::table& table, const char* key, SpanNs& into, SpanNs unit, double least, double most) {
    if (const auto value = number(table, key, least, most)) into = std::llround(*value * static_cast<double>(unit));
  }
  void count(const toml::table& table, const char* key, unsigned& into, double least, double most) {
    const auto value = number(table, key, least, most);
    if (value && *value != std::floor(*value)) return fail(*table.get(key), fmt::format("`{}` must be a whole number", key), "correct it");
    if (value) into = static_cast<unsigned>(*value);
  }

  Error error_at(const toml::node& node, std::string what, std::string remedy) const {
    const auto& begin = node.source().begin;
    return {ErrorKind::usage, std::move(what), fmt::format("{}:{}:{}", file_, begin.line, begin.column), std::move(remedy)};
  }
  void fail(const toml::node& node, std::string what, std::string remedy) {
    if (!error_) error_ = error_at(node, std::move(what), std::move(remedy));
  }

  const std::string& file_;
  Config& config_;
  std::string table_;
  std::vector<std::string> known_;
  std::optional<Error> error_;
};

std::optional<Error> read_over(std::string_view text, const std::string& file, Config& config) {
  toml::table table;
  if (const auto problem = parse_toml(text, file, table))
    return Error{ErrorKind::usage, "not TOML: " + problem->what,
                 fmt::format("{}:{}:{}", file, problem->line, problem->column),
                 "correct the line; tramlogd --print-config shows a whole file"};
  return ConfigReader(file, config).read(table);
}

}  // namespace

std::string_view built_in_config_text() {
  return kBuiltInText;
}

Config built_in_config() {
  Config config;
  (void)read_over(kBuiltInText, "built-in configuration", config);
  return config;
}

Result<Config> parse_config(std::string_view text, const std::string& file) {
  Config config = built_in_config();
  if (auto error = read_over(text, file, config)) return *error;
  return config;
}

Result<Config> load_config(const std::string& path, bool may_be_missing) {
  std::error_code ignored;
  if (may_be_missing && !std::filesystem::exists(path, ignored)) return built_in_config();
  auto text = read_text_file(path, kMaxConfigBytes);
  if (!text) return text.error();
  return parse_config(*text, path);
}

}  // namespace tramlog
