// Asks the live examiner: reports on request, and regularly what is new, for events, journal, summary and protection. On the main loop.
#pragma once

#include <boost/asio/io_context.hpp>
#include <functional>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "daemon/config.hpp"
#include "daemon/live_examiner.hpp"
#include "daemon/run_files.hpp"
#include "daemon/standing.hpp"
#include "report/format.hpp"

namespace tramlog {

class LiveDesk {
 public:
  /// What a copy rendered; `died`: it did not come to its end.
  struct Rendered {
    bool died = false;
    int exit_code = 0;           // the contract's: 0 nothing wrong, 1 something
    std::uint64_t unrecorded = 0;
    std::string segment;         // the report covers the run's segments before this one, and so many bytes of it
    std::uint64_t segment_bytes = 0;
    std::string text;
  };
  struct Hooks {
    std::function<void(bool bad, const std::string& text)> journal;
    std::function<void(TimeNs from, TimeNs to, const std::string& why)> protect;
    std::function<std::uint64_t()> run;  // its number; 0: none yet
  };

  LiveDesk(boost::asio::io_context& context, LiveExaminer& examiner, const Config& config, Hooks hooks);
  ~LiveDesk();
  LiveDesk(const LiveDesk&) = delete;
  LiveDesk& operator=(const LiveDesk&) = delete;

  void set_roster(std::optional<Roster> roster);
  void reconfigure(const Config& config);

  /// `format` is one that find_format() knows. `roster`: instead of the configured one.
  void render(const std::string& format, bool rollcall, const FormatOptions& options, std::optional<Roster> roster,
              std::function<void(Rendered)> done);

  /// Begins to look for news now and then.
  void start();
  /// One last look, with both summaries written; then `done`.
  void finish(std::function<void()> done);

  bool has_roster() const;
  /// Warnings and faults that have not ended.
  std::vector<std::string> standing() const;

 private:
  class Impl;
  std::shared_ptr<Impl> impl_;
};

}  // namespace tramlog
