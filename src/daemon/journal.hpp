// The journal: systemd's where the service runs under it, else standard error.
#pragma once

#include <string>

namespace tramlog {

/// `level`: debug, info or warning.
void open_journal(const std::string& level);
void set_journal_level(const std::string& level);
void journal(bool bad, const std::string& text);

}  // namespace tramlog
