// The small files beside the recording: events.jsonl, summary.txt and summary.json.
#pragma once

#include <cstdint>
#include <string>

#include "base/result.hpp"

namespace tramlog {

/// events.jsonl; at its size it becomes events-1.jsonl, that events-2.jsonl, and so on.
class EventFile {
 public:
  EventFile(std::string folder, std::uint64_t most_bytes, unsigned older);
  ~EventFile();
  EventFile(const EventFile&) = delete;
  EventFile& operator=(const EventFile&) = delete;

  /// Whole lines; false if they could not be written (the journal has them all the same).
  bool append(const std::string& lines);
  void set_limits(std::uint64_t most_bytes, unsigned older) {
    most_bytes_ = most_bytes;
    older_ = older;
  }

 private:
  bool open();
  void begin_anew();

  std::string folder_;
  std::uint64_t most_bytes_;
  unsigned older_;
  int descriptor_ = -1;
  std::uint64_t size_ = 0;
};

/// Puts the summaries of the run before away as summary-run-000122.txt and .json, and removes all but `keep` of those.
void put_summaries_away(const std::string& folder, std::uint32_t run, unsigned keep);

/// The number of this boot as the recorder counts them: kept in folder/last-boot with the kernel's boot id. 0 if it cannot be kept.
std::uint64_t count_boot(const std::string& folder);

}  // namespace tramlog
