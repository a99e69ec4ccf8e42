#include "daemon/run_files.hpp"

#include <fcntl.h>
#include <fmt/format.h>
#include <sys/stat.h>
#include <unistd.h>

#include <algorithm>
#include <charconv>
#include <filesystem>
#include <vector>

#include "io/text_file.hpp"
#include "record/durable.hpp"

namespace tramlog {
namespace {

namespace fs = std::filesystem;

bool append_text(int descriptor, const std::string& text) {
  return write_all(descriptor, {reinterpret_cast<const std::uint8_t*>(text.data()), text.size()}) == 0;
}

}  // namespace

EventFile::EventFile(std::string folder, std::uint64_t most_bytes, unsigned older)
    : folder_(std::move(folder)), most_bytes_(most_bytes), older_(older) {}

EventFile::~EventFile() {
  if (descriptor_ >= 0) ::close(descriptor_);
}

bool EventFile::open() {
  const std::string path = folder_ + "/events.jsonl";
  descriptor_ = ::open(path.c_str(), O_RDWR | O_CREAT | O_APPEND | O_CLOEXEC, 0640);
  if (descriptor_ < 0) return false;
  struct stat state {};
  size_ = ::fstat(descriptor_, &state) == 0 ? static_cast<std::uint64_t>(state.st_size) : 0;
  // A line that a power cut left unfinished must not swallow the next one.
  char last = '\n';
  if (size_ > 0 && ::pread(descriptor_, &last, 1, static_cast<off_t>(size_ - 1)) == 1 && last != '\n')
    if (append_text(descriptor_, "\n")) ++size_;
  return true;
}

void EventFile::begin_anew() {
  ::close(descriptor_);
  descriptor_ = -1;
  std::error_code ignored;
  const auto name = [&](unsigned number) { return fmt::format("{}/events-{}.jsonl", folder_, number); };
  if (older_ == 0) {
    fs::remove(folder_ + "/events.jsonl", ignored);
    return;
  }
  fs::remove(name(older_), ignored);
  for (unsigned number = older_; number > 1; --number) fs::rename(name(number - 1), name(number), ignored);
  fs::rename(folder_ + "/events.jsonl", name(1), ignored);
}

bool EventFile::append(const std::string& lines) {
  if (lines.empty()) return true;
  struct stat state {};
  if (descriptor_ >= 0 && (::fstat(descriptor_, &state) != 0 || state.st_nlink == 0)) {
    ::close(descriptor_);  // somebody removed it: made again
    descriptor_ = -1;
  }
  if (descriptor_ < 0 && !open()) return false;
  if (size_ > 0 && size_ + lines.size() > most_bytes_) {
    begin_anew();
    if (!open()) return false;
  }
  if (!append_text(descriptor_, lines)) {
    // Half a line stays alone: the next one begins after a line end.
    ::close(descriptor_);
    descriptor_ = -1;
    return false;
  }
  size_ += lines.size();
  return true;
}

void put_summaries_away(const std::string& folder, std::uint32_t run, unsigned keep) {
  std::error_code ignored;
  for (const char* ending : {".txt", ".json"})
    if (keep > 0)
      fs::rename(folder + "/summary" + ending, fmt::format("{}/summary-run-{:06}{}", folder, run, ending), ignored);
    else
      fs::remove(folder + "/summary" + ending, ignored);
  for (const std::string ending : {".txt", ".json"}) {
    std::vector<std::string> old;
    for (auto at = fs::directory_iterator(folder, ignored); !ignored && at != fs::directory_iterator(); at.increment(ignored)) {
      const std::string name = at->path().filename().string();
      if (name.starts_with("summary-run-") && name.ends_with(ending)) old.push_back(at->path().string());
    }
    std::sort(old.begin(), old.end());
    for (std::size_t i = 0; i + keep < old.size(); ++i) fs::remove(old[i], ignored);
  }
}

std::uint64_t count_boot(const std::string& folder) {
  std::string id;
  if (auto text = read_text_file("/proc/sys/kernel/random/boot_id", 100)) id = text.value();
  while (!id.empty() && (id.back() == '\n' || id.back() == ' ')) id.pop_back();
  std::uint64_t number = 0;
  std::string known;
  if (auto text = read_text_file(folder + "/last-boot", 200)) {
    const std::string& line = text.value();
    const std::size_t blank = line.find(' ');
    std::from_chars(line.data(), line.data() + std::min(blank, line.size()), number);
    if (blank != std::string::npos) known = line.substr(blank + 1, line.find('\n') - blank - 1);
  }
  if (known == id && number > 0) return number;
  ++number;
  return write_text(folder + "/last-boot", fmt::format("{} {}\n", number, id)) ? number : 0;
}

}  // namespace tramlog
