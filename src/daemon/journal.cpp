#include "daemon/journal.hpp"

#include <spdlog/sinks/stdout_sinks.h>
#include <spdlog/sinks/systemd_sink.h>
#include <spdlog/spdlog.h>

#include <cstdlib>

namespace tramlog {

void open_journal(const std::string& level) {
  // Set by systemd if the standard streams of the service go to the journal.
  if (std::getenv("JOURNAL_STREAM") != nullptr)
    spdlog::set_default_logger(std::make_shared<spdlog::logger>("tramlogd", std::make_shared<spdlog::sinks::systemd_sink_mt>()));
  else
    spdlog::set_default_logger(std::make_shared<spdlog::logger>("tramlogd", std::make_shared<spdlog::sinks::stderr_sink_mt>()));
  spdlog::set_pattern("%Y-%m-%dT%H:%M:%S.%eZ %n %l: %v", spdlog::pattern_time_type::utc);
  spdlog::default_logger()->flush_on(spdlog::level::debug);
  set_journal_level(level);
}

void set_journal_level(const std::string& level) {
  spdlog::set_level(level == "debug" ? spdlog::level::debug : level == "warning" ? spdlog::level::warn : spdlog::level::info);
}

void journal(bool bad, const std::string& text) {
  spdlog::log(bad ? spdlog::level::warn : spdlog::level::info, "{}", text);
}

}  // namespace tramlog
