#include "parcel/parcel.hpp"

#include <algorithm>
#include <array>
#include <cctype>
#include <map>
#include <set>

#include "base/utf8.hpp"

namespace tramlog {
namespace {

constexpr std::size_t kLongestName = 120;

/// A header field's name and colon: printable ASCII without blanks (RFC 5322, 2.2).
std::size_t field_name_length(std::string_view line) {
  const std::size_t colon = line.find(':');
  if (colon == std::string_view::npos || colon == 0) return 0;
  const bool plain = std::all_of(line.begin(), line.begin() + static_cast<std::ptrdiff_t>(colon),
                                 [](char c) { return c > 32 && c < 127; });
  return plain ? colon : 0;
}

bool same_letters(std::string_view a, std::string_view b) {
  return a.size() == b.size() && std::equal(a.begin(), a.end(), b.begin(), [](char x, char y) {
           return std::tolower(static_cast<unsigned char>(x)) == std::tolower(static_cast<unsigned char>(y));
         });
}

/// Some header fields, and among them one that a mail has.
bool is_mail_head(std::string_view head) {
  std::size_t fields = 0;
  bool telling = false;
  bool first = true;
  while (!head.empty()) {
    const std::size_t end = head.find('\n');
    std::string_view line = head.substr(0, end);
    if (!line.empty() && line.back() == '\r') line.remove_suffix(1);
    if (line.empty()) break;
    const bool whole = end != std::string_view::npos;
    const bool folded = line.front() == ' ' || line.front() == '\t';
    const bool postmark = first && line.starts_with("From ");  // of mail folders in one file
    if (!folded && !postmark && whole) {
      const std::string_view name = line.substr(0, field_name_length(line));
      if (name.empty()) return false;
      ++fields;
      for (const char* known : {"MIME-Version", "Content-Type", "From", "Date", "Received", "Subject"})
        telling = telling || same_letters(name, known);
    }
    first = false;
    head.remove_prefix(whole ? end + 1 : head.size());
  }
  return fields >= 2 && telling;
}

/// "again-2-report.txt": the end of the name goes on telling what is in the file.
std::string another_name(const std::string& name, unsigned count) {
  return "again-" + std::to_string(count) + "-" + std::string(cut_text(name, kLongestName - 20));
}

}  // namespace

const Member* Parcel::find(std::string_view name) const {
  const auto found =
      std::find_if(members.begin(), members.end(), [&](const Member& m) { return m.name == name; });
  return found == members.end() ? nullptr : &*found;
}

std::optional<ParcelKind> parcel_kind_of(std::string_view path) {
  if (path.size() > 4 && same_letters(path.substr(path.size() - 4), ".eml")) return ParcelKind::mail;
  if (path.size() > 4 && same_letters(path.substr(path.size() - 4), ".zip")) return ParcelKind::zip;
  return std::nullopt;
}

std::optional<ParcelKind> recognise_parcel(std::string_view head) {
  using namespace std::string_view_literals;
  if (head.starts_with("PK\x03\x04"sv) || head.starts_with("PK\x05\x06"sv)) return ParcelKind::zip;
  if (is_mail_head(head)) return ParcelKind::mail;
  return std::nullopt;
}

Result<std::string> write_parcel(const Parcel& parcel, ParcelKind kind) {
  return kind == ParcelKind::mail ? write_mail(parcel) : write_zip(parcel);
}

Result<Parcel> read_parcel(std::string_view bytes, const std::string& where) {
  const auto kind = recognise_parcel(bytes.substr(0, 64 * 1024));
  if (!kind)
    return Error{ErrorKind::input, "no parcel: neither a mail nor a zip archive", where,
                 "name a file that tramlog parcel wrote"};
  auto members = *kind == ParcelKind::mail ? read_mail(bytes, where) : read_zip(bytes, where);
  if (!members) return members.error();
  Parcel parcel;
  std::set<std::string> taken;
  std::map<std::string, unsigned> times;  // beyond the first
  for (Member& member : *members) {
    // The first of a name keeps it: it is what tramlog wrote. Whatever else came under it is not lost.
    const std::string name = safe_member_name(member.name);
    member.name = name;
    while (!taken.insert(member.name).second) member.name = another_name(name, ++times[name] + 1);
    parcel.members.push_back(std::move(member));
  }
  if (parcel.find(kFactsMember) == nullptr)
    return Error{
        ErrorKind::input,
        *kind == ParcelKind::mail ? "a mail, but contents.json of a parcel is not in it"
                                  : "a zip archive, but contents.json of a parcel is not in it",
        where,
        "name a file that tramlog parcel wrote; ask for it again if attachments were taken off on the way"};
  return parcel;
}

std::string content_type_of(std::string_view name) {
  constexpr std::array<std::pair<std::string_view, const char*>, 6> kTypes{
      {{".txt", "text/plain"},
       {".html", "text/html"},
       {".json", "application/json"},
       {".toml", "application/toml"},
       {".zst", "application/zstd"},
       {".pool", "application/octet-stream"}}};
  for (const auto& [end, type] : kTypes)
    if (name.ends_with(end)) return type;
  return "application/octet-stream";
}

std::string safe_member_name(std::string_view name) {
  const std::size_t folder = name.find_last_of("/\\");
  if (folder != std::string_view::npos) name.remove_prefix(folder + 1);
  std::string safe;
  for (std::size_t at = 0; at < name.size();) {
    const CodePoint point = decode_utf8(name, at);
    const bool bad =
        !point.valid || point.value < 32 || (point.value >= 127 && point.value < 160) ||
        (point.value < 127 &&
         std::string_view("<>:\"|?*").find(static_cast<char>(point.value)) != std::string_view::npos);
    if (bad)
      safe += '_';
    else
      safe += name.substr(at, point.length);
    at += point.length;
  }
  while (!safe.empty() && (safe.front() == '.' || safe.front() == ' ' || safe.front() == '-'))
    safe.erase(0, 1);
  safe = cut_text(safe, kLongestName);
  return safe.empty() ? "unnamed" : safe;
}

}  // namespace tramlog
