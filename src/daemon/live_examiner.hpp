// The same core as for files, fed while the recording grows: the chunks go through the reader of captures, segment by segment.
#pragma once

#include <atomic>
#include <cstdint>
#include <functional>
#include <memory>
#include <mutex>
#include <string>
#include <thread>
#include <vector>

#include "exam/examiner.hpp"
#include "record/chunk.hpp"
#include "report/report.hpp"
#include "schema/schema.hpp"

namespace tramlog {

/// How far the examiner is.
struct ExaminerStatus {
  std::uint64_t frames = 0;     // frames and error frames examined
  TimeNs latest = 0;            // capture time
  std::uint64_t waiting = 0;    // bytes not examined yet
  std::uint64_t unrecorded = 0; // frames examined that are not in the recording
  std::uint32_t begun_anew = 0; // how often it had to read the recording again
  std::string segment;             // file name of the segment that it is in
  std::uint64_t segment_bytes = 0; // of that file, examined
};

class LiveExaminer {
 public:
  /// Renders in a forked copy of the process: it may change what it likes and must not use other threads' things. What it
  /// returns arrives at the other end of the pipe.
  using Job = std::function<std::string(Report report_so_far, const ExaminerStatus& status)>;
  /// The paths of the run's segments on the disk before this one, in order; none while the disk does not have all of them yet.
  using EarlierSegments = std::function<std::optional<std::vector<std::string>>(std::uint32_t before_segment)>;

  /// `schema` must outlive it. `see_events` is called with everything from the examiner's thread.
  LiveExaminer(const Schema& schema, ImplementOptions implements, ChunkQueue& queue, EarlierSegments earlier,
               std::function<void(std::span<const Event>)> see_events, CauseWeights weights = CauseWeights::built_in());
  ~LiveExaminer();
  LiveExaminer(const LiveExaminer&) = delete;
  LiveExaminer& operator=(const LiveExaminer&) = delete;

  /// Runs the job on a copy of the present state, from the examiner's thread. `started` gets the reading end of a pipe (to be
  /// closed by the caller) and the process to be waited for, or -1 if the system had no room.
  /// `roster` is used for the conclusions.
  void ask(std::optional<Roster> roster, Job job, std::function<void(int pipe, int process)> started);

  ExaminerStatus status() const;
  /// The last chunk was examined; ask() still works.
  bool finished() const { return finished_.load(); }
  void stop();

 private:
  class Feed;
  struct Request {
    std::optional<Roster> roster;
    Job job;
    std::function<void(int, int)> started;
  };
  void run();
  void read_segment(ChunkPtr first);
  void begin_anew(std::uint32_t before_segment);
  bool read_again(const std::vector<std::string>& paths);
  void serve();
  void fork_for(Request& request);

  const Schema& schema_;
  ImplementOptions implements_;
  CauseWeights weights_;
  ChunkQueue& queue_;
  EarlierSegments earlier_;
  std::function<void(std::span<const Event>)> see_events_;

  // Of the examiner's thread.
  std::unique_ptr<Examiner> examiner_;
  struct Reading;
  std::unique_ptr<Reading> reading_;
  std::vector<std::string> fingerprints_;  // of segments that are over
  std::uint64_t next_number_ = 1;
  std::uint32_t file_ = 0;
  ChunkPtr next_first_;  // begins the segment after this one

  mutable std::mutex mutex_;
  std::vector<Request> requests_;
  ExaminerStatus status_;
  std::atomic<bool> finished_{false}, stopping_{false};
  std::thread thread_;
};

}  // namespace tramlog
