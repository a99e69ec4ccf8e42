#include "io/capture_reader.hpp"

#include <algorithm>
#include <filesystem>
#include <numeric>
#include <utility>

#include "io/bus_table.hpp"
#include "io/capture_merge.hpp"
#include "io/capture_probe.hpp"

namespace tramlog {

class CaptureSource::Impl {
 public:
  explicit Impl(std::vector<ProbedCapture> captures) : merge_(std::move(captures)) {}
  CaptureMerge& merge() { return merge_; }

 private:
  CaptureMerge merge_;
};

CaptureSource::CaptureSource(std::unique_ptr<Impl> impl) : impl_(std::move(impl)) {}
CaptureSource::CaptureSource(CaptureSource&&) noexcept = default;
CaptureSource& CaptureSource::operator=(CaptureSource&&) noexcept = default;
CaptureSource::~CaptureSource() = default;

namespace {

/// What the recorder keeps beside its segments: "run-*" on the command line names these, too.
bool is_beside_a_segment(const std::string& path) {
  const std::string name = std::filesystem::path(path).filename().string();
  return name.starts_with("run-") && (name.ends_with(".pcapng.keep") || name.ends_with(".pcapng.zst.index"));
}

}  // namespace

Result<CaptureSource> CaptureSource::open(const std::vector<std::string>& named) {
  std::vector<std::string> paths;
  std::copy_if(named.begin(), named.end(), std::back_inserter(paths), [](const std::string& path) { return !is_beside_a_segment(path); });
  if (paths.empty() && !named.empty()) paths = named;  // told what it is, below
  if (paths.empty())
    return Error{ErrorKind::usage, "no capture given", "command line", "name at least one file"};
  std::vector<ProbedCapture> captures;
  captures.reserve(paths.size());
  for (const std::string& path : paths) {
    // Asked before it is opened: a second look at the same pipe would wait for ever.
    const auto same_name = [&](const ProbedCapture& other) { return other.path == path; };
    if (std::any_of(captures.begin(), captures.end(), same_name))
      return Error{ErrorKind::usage, "the same capture is given twice", path == "-" ? "standard input" : path,
                   "name every file once"};
    auto probed = probe_capture(path);
    if (!probed) {
      // After a power cut the last of several recordings may be empty: the others are worth reading all the same. A name
      // that leads nowhere is a slip of the pen.
      std::error_code ignored;
      if (paths.size() == 1 || probed.error().kind != ErrorKind::input || !std::filesystem::is_regular_file(path, ignored))
        return probed.error();
      ProbedCapture lost;
      lost.path = path;
      lost.start = kTimeLimit;
      lost.unreadable = probed.error();
      captures.push_back(std::move(lost));
      continue;
    }
    const auto same_file = [&](const ProbedCapture& other) {
      return probed->regular && other.regular && other.device == probed->device &&
             other.inode == probed->inode;
    };
    const auto twin = std::find_if(captures.begin(), captures.end(), same_file);
    if (twin != captures.end())
      return Error{ErrorKind::usage, "the same capture is given twice (also as " + twin->path + ")",
                   path == "-" ? "standard input" : path, "name every file once"};
    captures.push_back(std::move(*probed));
  }
  const auto readable = [](const ProbedCapture& capture) { return !capture.unreadable; };
  if (std::none_of(captures.begin(), captures.end(), readable)) return *captures.front().unreadable;
  std::stable_sort(captures.begin(), captures.end(),
                   [](const ProbedCapture& a, const ProbedCapture& b) { return a.start < b.start; });
  return CaptureSource(std::make_unique<Impl>(std::move(captures)));
}

std::span<const Event> CaptureSource::read() {
  return impl_->merge().read();
}

const std::vector<CaptureFile>& CaptureSource::files() const {
  return impl_->merge().files();
}

}  // namespace tramlog
