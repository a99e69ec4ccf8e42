#include "record/run_state.hpp"

#include <fcntl.h>
#include <fmt/format.h>
#include <sys/statvfs.h>
#include <unistd.h>

#include <array>
#include <cerrno>
#include <charconv>

#include "record/durable.hpp"

namespace tramlog {
namespace {

constexpr std::string_view kWord = "run ";
constexpr std::size_t kLongest = 64;

std::string text_of(std::uint32_t run) {
  return fmt::format("{}{:010}\n", kWord, run);
}

std::string path_of(const std::string& folder) {
  return folder + "/" + std::string(kRunState);
}

/// 0 or the errno.
int overwrite(const std::string& path, const std::string& text) {
  const OwnedFile file(::open(path.c_str(), O_WRONLY | O_CLOEXEC));
  if (!file.is_open()) return errno;
  if (const int code =
          write_all(file.get(), {reinterpret_cast<const std::uint8_t*>(text.data()), text.size()});
      code != 0)
    return code;
  return ::fdatasync(file.get()) == 0 ? 0 : errno;
}

}  // namespace

Result<RunState> read_run_state(const std::string& folder) {
  const std::string path = path_of(folder);
  const OwnedFile file(::open(path.c_str(), O_RDONLY | O_CLOEXEC));
  if (!file.is_open()) {
    if (errno == ENOENT) return RunState{};
    return disk_error("cannot read the number of the last run", errno, path);
  }
  std::array<std::uint8_t, kLongest> bytes{};
  const std::int64_t got = read_up_to(file.get(), bytes.data(), bytes.size());
  if (got < 0) return disk_error("cannot read the number of the last run", errno, path);
  const std::string_view text(reinterpret_cast<const char*>(bytes.data()), static_cast<std::size_t>(got));
  RunState state;
  if (text.starts_with(kWord))
    std::from_chars(text.data() + kWord.size(), text.data() + text.size(), state.last_run);
  if (text != text_of(state.last_run) || state.last_run == 0) return RunState{0, true};
  return state;
}

Result<bool> write_run_state(const std::string& folder, std::uint32_t last_run) {
  const std::string path = path_of(folder), text = text_of(last_run);
  auto replaced = replace_file(path, text);
  if (replaced) return replaced;
  // The text has always the same length, and is far shorter than what a disk writes at once.
  if (struct statvfs space{}; ::statvfs(folder.c_str(), &space) == 0 &&
                              (space.f_bavail == 0 || space.f_favail == 0) && overwrite(path, text) == 0)
    return true;
  return replaced;
}

}  // namespace tramlog
