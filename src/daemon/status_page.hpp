// How the recorder is doing, as text and JSON.
#pragma once

#include <nlohmann/json.hpp>
#include <string>
#include <vector>

#include "daemon/listener.hpp"
#include "daemon/live_examiner.hpp"
#include "record/keeper.hpp"
#include "record/segment_writer.hpp"

namespace tramlog {

struct DaemonStatus {
  std::uint32_t run = 0;
  std::uint64_t boot = 0;
  TimeNs begun = 0, now = 0;
  SpanNs clock_shift = 0;
  bool clock_synchronised = false;
  std::string folder;
  std::vector<InterfaceStatus> interfaces;
  WriterStatus writer;
  KeeperStatus keeper;
  ExaminerStatus examiner;
  std::uint64_t not_recorded = 0;
  std::size_t buffer_bytes = 0;
  std::vector<std::string> standing;  // warnings and faults that have not ended, a sentence each
};

/// Something that somebody should do something about: an interface that cannot hear, the disk, a loss.
bool needs_attention(const DaemonStatus& status);
std::string status_text(const DaemonStatus& status);
/// tramlog.status/1.
std::string status_json(const DaemonStatus& status);

}  // namespace tramlog
