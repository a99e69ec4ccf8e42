// Parcels as mails (RFC 5322, RFC 2045 to 2049).
#include <fmt/format.h>
#include <gmime/gmime.h>

#include <algorithm>
#include <cstring>
#include <memory>

#include "base/text.hpp"
#include "parcel/parcel.hpp"

namespace tramlog {
namespace {

// Who sends it and to whom is decided in the mail program; .invalid is nobody's (RFC 2606).
constexpr const char* kSenderName = "tramlog";
constexpr const char* kSenderAddress = "tramlog@recorder.invalid";
constexpr int kDeepest = 32;                 // parts within parts
constexpr std::size_t kDeepestMarks = 4096;  // lines that begin like a boundary and name a multipart

struct Unref {
  void operator()(void* object) const { g_object_unref(object); }
};
template <class T>
using Held = std::unique_ptr<T, Unref>;

void begin_library() {
  static const bool once = (g_mime_init(), true);
  (void)once;
}

/// Tells content from content; the boundary and the identity of the mail come of it, so that equal parcels
/// are equal.
std::string mark_of(const Parcel& parcel) {
  std::uint64_t state = 0xCBF29CE484222325ull;
  const auto mix = [&state](std::string_view bytes) {
    for (const char c : bytes) state = (state ^ static_cast<unsigned char>(c)) * 0x100000001B3ull;
    state = (state ^ 0x100) * 0x100000001B3ull;
  };
  mix(parcel.subject);
  for (const Member& member : parcel.members) {
    mix(member.name);
    mix(member.bytes);
  }
  return fmt::format("{:016x}", state);
}

Held<GMimePart> part_of(const std::string& type, const std::string& bytes, GMimeContentEncoding encoding) {
  const std::size_t slash = type.find('/');
  Held<GMimePart> part(
      g_mime_part_new_with_type(type.substr(0, slash).c_str(), type.substr(slash + 1).c_str()));
  if (type.starts_with("text/"))
    g_mime_object_set_content_type_parameter(GMIME_OBJECT(part.get()), "charset", "utf-8");
  const Held<GMimeStream> stream(g_mime_stream_mem_new_with_buffer(bytes.data(), bytes.size()));
  const Held<GMimeDataWrapper> content(
      g_mime_data_wrapper_new_with_stream(stream.get(), GMIME_CONTENT_ENCODING_DEFAULT));
  g_mime_part_set_content(part.get(), content.get());
  g_mime_part_set_content_encoding(part.get(), encoding);
  return part;
}

/// The summary once more for programs that show HTML only, or first: the same lines, nothing that they would
/// strip.
std::string as_html(const std::string& text) {
  std::string html = "<!DOCTYPE html>\n<html><body><pre>\n";
  for (const char c : text) {
    if (c == '&')
      html += "&amp;";
    else if (c == '<')
      html += "&lt;";
    else if (c == '>')
      html += "&gt;";
    else
      html += c;
  }
  return html + "</pre></body></html>\n";
}

Held<GMimeMultipart> multipart(const char* kind, const std::string& boundary) {
  Held<GMimeMultipart> made(g_mime_multipart_new_with_subtype(kind));
  g_mime_multipart_set_boundary(made.get(), boundary.c_str());
  return made;
}

/// ASCII in lines that may travel as they are (RFC 5322, 2.1.1).
bool is_plain(const std::string& text) {
  constexpr std::size_t kLongestLine = 998;
  std::size_t length = 0;
  for (const char c : text) {
    length = c == '\n' ? 0 : length + 1;
    const auto code = static_cast<unsigned char>(c);
    if (length > kLongestLine || code > 126 || (code < 32 && c != '\n')) return false;
  }
  return true;
}

void add_text(GMimeMultipart* to, const std::string& type, const std::string& text) {
  const auto part = part_of(
      type, text, is_plain(text) ? GMIME_CONTENT_ENCODING_7BIT : GMIME_CONTENT_ENCODING_QUOTEDPRINTABLE);
  g_mime_multipart_add(to, GMIME_OBJECT(part.get()));
}

/// Bytes of a leaf, decoded; none if it unpacks to more than `most`.
std::optional<std::string> content_of(GMimePart* part, std::size_t most) {
  GMimeDataWrapper* content = g_mime_part_get_content(part);
  if (content == nullptr) return std::string();
  const Held<GMimeStream> out(g_mime_stream_mem_new());
  if (g_mime_data_wrapper_write_to_stream(content, out.get()) < 0) return std::nullopt;
  const GByteArray* bytes = g_mime_stream_mem_get_byte_array(GMIME_STREAM_MEM(out.get()));
  if (bytes->len > most) return std::nullopt;
  return std::string(reinterpret_cast<const char*>(bytes->data), bytes->len);
}

class Unpacking {
 public:
  std::vector<Member> members;
  bool too_much = false;

  void take(GMimeObject* object, int depth) {
    if (object == nullptr || too_much) return;
    if (depth > kDeepest) {
      too_much = true;
    } else if (GMIME_IS_MULTIPART(object)) {
      auto* parts = reinterpret_cast<GMimeMultipart*>(object);
      const int count = g_mime_multipart_get_count(parts);
      for (int i = 0; i < count; ++i) take(g_mime_multipart_get_part(parts, i), depth + 1);
    } else if (GMIME_IS_MESSAGE_PART(object)) {
      // Forwarded as an attachment.
      GMimeMessage* message = g_mime_message_part_get_message(reinterpret_cast<GMimeMessagePart*>(object));
      if (message != nullptr) take(g_mime_message_get_mime_part(message), depth + 1);
    } else if (GMIME_IS_PART(object)) {
      take_leaf(reinterpret_cast<GMimePart*>(object));
    }
  }

 private:
  void take_leaf(GMimePart* part) {
    const char* name = g_mime_part_get_filename(part);
    if (name == nullptr) return;  // the body; the same text is attached
    auto bytes = content_of(part, left_);
    if (!bytes || members.size() >= kMaxMembers) {
      too_much = true;
      return;
    }
    left_ -= bytes->size();
    members.push_back({name, std::move(*bytes)});
  }

  std::size_t left_ = kMaxUnpackedBytes;
};

/// How many multiparts it could open: the library follows each deeper, and would run out of stack.
std::size_t multiparts_in(std::string_view bytes) {
  std::size_t count = 0;
  for (std::size_t at = 0; at + 9 <= bytes.size() && count <= kDeepestMarks; ++at) {
    const char c = bytes[at];
    if ((c != 'm' && c != 'M') || g_ascii_strncasecmp(bytes.data() + at, "multipart", 9) != 0) {
      if ((c != 'm' && c != 'M') || g_ascii_strncasecmp(bytes.data() + at, "message/", 8) != 0) continue;
    }
    ++count;
  }
  return count;
}

}  // namespace

Result<std::string> write_mail(const Parcel& parcel) {
  begin_library();
  const std::string mark = mark_of(parcel);
  const auto mixed = multipart("mixed", "=_parcel_" + mark);
  if (const Member* summary = parcel.find(kSummaryMember)) {
    const auto alternative = multipart("alternative", "=_text_" + mark);
    add_text(alternative.get(), "text/plain", summary->bytes);
    add_text(alternative.get(), "text/html", as_html(summary->bytes));
    g_mime_multipart_add(mixed.get(), GMIME_OBJECT(alternative.get()));
  }
  for (const Member& member : parcel.members) {
    const auto part = part_of(content_type_of(member.name), member.bytes, GMIME_CONTENT_ENCODING_BASE64);
    g_mime_object_set_disposition(GMIME_OBJECT(part.get()), GMIME_DISPOSITION_ATTACHMENT);
    g_mime_part_set_filename(part.get(), member.name.c_str());
    g_mime_multipart_add(mixed.get(), GMIME_OBJECT(part.get()));
  }

  const Held<GMimeMessage> message(g_mime_message_new(TRUE));
  g_mime_message_add_mailbox(message.get(), GMIME_ADDRESS_TYPE_FROM, kSenderName, kSenderAddress);
  g_mime_message_set_subject(message.get(), parcel.subject.c_str(), "utf-8");
  GDateTime* date = g_date_time_new_from_unix_utc(parcel.time / kSecond);
  if (date != nullptr) {
    g_mime_message_set_date(message.get(), date);
    g_date_time_unref(date);
  }
  g_mime_message_set_message_id(message.get(), (mark + "@recorder.invalid").c_str());
  g_mime_message_set_mime_part(message.get(), GMIME_OBJECT(mixed.get()));

  GMimeFormatOptions* options = g_mime_format_options_new();
  g_mime_format_options_set_newline_format(options, GMIME_NEWLINE_FORMAT_DOS);
  const Held<GMimeStream> out(g_mime_stream_mem_new());
  const auto written = g_mime_object_write_to_stream(GMIME_OBJECT(message.get()), options, out.get());
  g_mime_format_options_free(options);
  if (written < 0)
    return Error{ErrorKind::environment, "no memory for the parcel", "mail",
                 "free some memory and try again"};
  const GByteArray* bytes = g_mime_stream_mem_get_byte_array(GMIME_STREAM_MEM(out.get()));
  return std::string(reinterpret_cast<const char*>(bytes->data), bytes->len);
}

Result<std::vector<Member>> read_mail(std::string_view bytes, const std::string& where) {
  begin_library();
  if (multiparts_in(bytes) > kDeepestMarks)
    return Error{ErrorKind::input, "the mail has more parts than a parcel can have", where,
                 "it is no parcel"};
  const Held<GMimeStream> stream(g_mime_stream_mem_new_with_buffer(bytes.data(), bytes.size()));
  const Held<GMimeParser> parser(g_mime_parser_new_with_stream(stream.get()));
  const bool folder = bytes.starts_with("From ");
  g_mime_parser_set_format(parser.get(), folder ? GMIME_FORMAT_MBOX : GMIME_FORMAT_MESSAGE);
  const Held<GMimeMessage> message(g_mime_parser_construct_message(parser.get(), nullptr));
  if (!message)
    return Error{ErrorKind::input, "the mail cannot be read", where,
                 "save it again from the mail program, whole, as .eml"};
  Unpacking unpacking;
  unpacking.take(g_mime_message_get_mime_part(message.get()), 0);
  if (unpacking.too_much)
    return Error{ErrorKind::input, "the mail unpacks to more than a parcel can hold", where,
                 "it is no parcel; do not unpack it"};
  return std::move(unpacking.members);
}

}  // namespace tramlog
