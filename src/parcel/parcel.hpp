// A parcel: everything that support needs in one file, a mail (RFC 5322, MIME) or a zip archive. Members are
// files in a row; which of them is the body of the mail is a matter of their names.
#pragma once

#include <cstddef>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "base/result.hpp"
#include "base/time.hpp"

namespace tramlog {

/// Names of members with a meaning.
inline constexpr const char* kSummaryMember = "summary.txt";  // the text of the mail
inline constexpr const char* kContentsMember =
    "contents.txt";  // what is inside and what was left out, for people
inline constexpr const char* kFactsMember = "contents.json";  // the same for programs: tramlog.parcel/1
inline constexpr const char* kJsonMember = "report.json";
inline constexpr const char* kTextMember = "report.txt";
inline constexpr const char* kPageMember = "report.html";
inline constexpr const char* kRosterMember = "roster.toml";

struct Member {
  std::string name;  // without folders
  std::string bytes;
};

struct Parcel {
  std::string subject;  // one line
  TimeNs time = 0;      // the date of the mail and of all files in it: end of the recording
  std::vector<Member> members;

  const Member* find(std::string_view name) const;
};

enum class ParcelKind { mail, zip };

// Caps against parcels that were made to hurt.
inline constexpr std::size_t kMaxParcelBytes = 256u << 20;    // the file
inline constexpr std::size_t kMaxUnpackedBytes = 512u << 20;  // all members together
inline constexpr std::size_t kMaxMembers = 4096;

/// By the end of the name; none if it is neither .eml nor .zip.
std::optional<ParcelKind> parcel_kind_of(std::string_view path);

/// What the first bytes of a file (4 KiB do) look like: a zip archive, or the head of a mail. A capture is
/// neither.
std::optional<ParcelKind> recognise_parcel(std::string_view head);

/// The same members give the same bytes.
/// Mail: multipart/mixed of a text that any program shows (the summary, as plain text and as the same in
/// HTML) and every member as attachment in base64. The sender is a name under .invalid (RFC 2606), because
/// who sends it is decided by the mail program; there is no addressee. 7-bit, lines below 998 characters.
Result<std::string> write_mail(const Parcel& parcel);
/// Zip: members in order, their time is the parcel's.
Result<std::string> write_zip(const Parcel& parcel);
Result<std::string> write_parcel(const Parcel& parcel, ParcelKind kind);

/// Any mail or zip archive of the kind; also a mail that a program wrapped again. `where` is named in errors.
/// Errors: neither of them, broken, too large, or nothing of ours in it (contents.json is missing).
Result<Parcel> read_parcel(std::string_view bytes, const std::string& where);
Result<std::vector<Member>> read_mail(std::string_view bytes, const std::string& where);
Result<std::vector<Member>> read_zip(std::string_view bytes, const std::string& where);

/// Content type by the end of the name: "application/json".
std::string content_type_of(std::string_view name);

/// A name that can be written into a folder: no folders, control characters or leading dots, at most 120
/// bytes, not empty.
std::string safe_member_name(std::string_view name);

}  // namespace tramlog
