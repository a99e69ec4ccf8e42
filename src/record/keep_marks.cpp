#include "record/keep_marks.hpp"

#include <algorithm>

#include "base/text.hpp"
#include "io/text_file.hpp"
#include "record/durable.hpp"

namespace tramlog {
namespace {

constexpr std::size_t kLargestFile = 1024 * 1024;

std::string path_of(const std::string& folder, const SegmentName& segment) {
  return folder + "/" + keep_name(segment);
}

std::string line_of(const KeepMark& mark) {
  return format_rfc3339(mark.from) + " " + format_rfc3339(mark.to) + " " + printable_utf8(mark.why);
}

std::vector<std::string> lines_of(std::string_view text) {
  std::vector<std::string> lines;
  while (!text.empty()) {
    const std::size_t end = std::min(text.find('\n'), text.size());
    lines.emplace_back(text.substr(0, end));
    text.remove_prefix(std::min(end + 1, text.size()));
  }
  return lines;
}

}  // namespace

std::string keep_name(const SegmentName& segment) {
  SegmentName plain = segment;
  plain.compressed = false;
  return segment_name(plain) + std::string(kKeepEnding);
}

std::optional<SegmentName> parse_keep_name(std::string_view file_name) {
  if (!file_name.ends_with(kKeepEnding)) return std::nullopt;
  file_name.remove_suffix(kKeepEnding.size());
  return parse_segment_name(file_name);
}

Result<bool> add_keep_marks(const std::string& folder, const SegmentName& segment,
                            const std::vector<KeepMark>& marks) {
  std::vector<std::string> lines = keep_lines(folder, segment);
  const std::size_t before = lines.size();
  for (const KeepMark& mark : marks) {
    std::string line = line_of(mark);
    if (lines.size() < kMostMarks && std::find(lines.begin(), lines.end(), line) == lines.end())
      lines.push_back(std::move(line));
  }
  if (lines.size() == before && before > 0) return true;
  std::string text;
  for (const std::string& line : lines) text += line + "\n";
  return replace_file(path_of(folder, segment), text);
}

std::vector<std::string> keep_lines(const std::string& folder, const SegmentName& segment) {
  auto text = read_text_file(path_of(folder, segment), kLargestFile);
  return text ? lines_of(*text) : std::vector<std::string>{};
}

}  // namespace tramlog
