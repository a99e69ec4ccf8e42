// The daemon's configuration: tramlogd.toml upon the built-in one, which holds every default with its reason.
#pragma once

#include <cstdint>
#include <string>
#include <string_view>
#include <vector>

#include "base/result.hpp"
#include "daemon/listener.hpp"
#include "outfit/user_files.hpp"

namespace tramlog {

struct Config {
  ListenerOptions interfaces;

  std::string folder;
  std::uint64_t segment_bytes = 0;
  SpanNs segment_span = 0;
  SpanNs sync_every = 0;
  std::size_t buffer_bytes = 0;
  bool compress = true;
  std::uint64_t keep_bytes = 0, keep_free_bytes = 0;
  SpanNs keep_span = 0;
  SpanNs protect_span = 0;
  unsigned protect_each = 0;

  UserFiles machine;

  SpanNs summary_every = 0, summary_at_least_every = 0;
  unsigned summaries_earlier = 0;
  std::uint64_t events_bytes = 0;
  unsigned events_files = 0;

  std::string socket, socket_group;
  std::string journal_level;

  bool operator==(const Config&) const = default;
};

inline constexpr const char* kUsualConfig = "/etc/tramlog/tramlogd.toml";

/// The text with every default; `tramlogd --print-config`.
std::string_view built_in_config_text();
/// The built-in configuration.
Config built_in_config();
/// `text` over the built-in one. Errors (usage) with line and column: no TOML, unknown table or key, wrong type, out of range.
Result<Config> parse_config(std::string_view text, const std::string& file);
/// The file; if it is not there and `may_be_missing`, the built-in one.
Result<Config> load_config(const std::string& path, bool may_be_missing);

}  // namespace tramlog
