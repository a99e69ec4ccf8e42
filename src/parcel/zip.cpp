// Parcels as zip archives, in memory.
#include <zip.h>

#include <algorithm>
#include <cstring>
#include <ctime>
#include <memory>

#include "parcel/parcel.hpp"

namespace tramlog {
namespace {

constexpr zip_uint32_t kOrdinaryFile = 0100644u << 16;  // type and permissions, as Unix keeps them
constexpr std::size_t kWindow = 256 * 1024;

struct Discard {
  void operator()(zip_t* archive) const { zip_discard(archive); }
};
using Archive = std::unique_ptr<zip_t, Discard>;

struct CloseFile {
  void operator()(zip_file_t* file) const { zip_fclose(file); }
};

struct FreeSource {
  void operator()(zip_source_t* source) const { zip_source_free(source); }
};
using Source = std::unique_ptr<zip_source_t, FreeSource>;

Error no_memory(const char* doing) {
  return {ErrorKind::environment, doing, "zip archive", "free some memory and try again"};
}

/// DOS time has two seconds and knows no years before 1980 or after 2107; it is written in UTC.
struct DosTime {
  zip_uint16_t time = 0, date = 0x21;
  explicit DosTime(TimeNs when) {
    const std::time_t seconds = static_cast<std::time_t>(when / kSecond);
    std::tm utc{};
    if (gmtime_r(&seconds, &utc) == nullptr || utc.tm_year < 80 || utc.tm_year > 207) return;
    time = static_cast<zip_uint16_t>(utc.tm_hour << 11 | utc.tm_min << 5 | utc.tm_sec / 2);
    date = static_cast<zip_uint16_t>((utc.tm_year - 80) << 9 | (utc.tm_mon + 1) << 5 | utc.tm_mday);
  }
};

bool add(zip_t* archive, const Member& member, DosTime when) {
  zip_source_t* source = zip_source_buffer(archive, member.bytes.data(), member.bytes.size(), 0);
  if (source == nullptr) return false;
  const zip_int64_t index = zip_file_add(archive, member.name.c_str(), source, ZIP_FL_ENC_UTF_8);
  if (index < 0) {
    zip_source_free(source);
    return false;
  }
  const auto at = static_cast<zip_uint64_t>(index);
  const bool packed_already = member.name.ends_with(".zst");
  return zip_set_file_compression(archive, at, packed_already ? ZIP_CM_STORE : ZIP_CM_DEFLATE, 9) == 0 &&
         zip_file_set_dostime(archive, at, when.time, when.date, 0) == 0 &&
         zip_file_set_external_attributes(archive, at, 0, ZIP_OPSYS_UNIX, kOrdinaryFile) == 0;
}

Result<std::string> unpack(zip_t* archive, zip_uint64_t index, std::size_t most, const std::string& where) {
  const std::unique_ptr<zip_file_t, CloseFile> file(zip_fopen_index(archive, index, 0));
  if (!file)
    return Error{ErrorKind::input, "a file of the zip archive cannot be read", where,
                 "it may be damaged or locked with a password; ask for it again"};
  std::string bytes;
  for (;;) {
    const std::size_t old = bytes.size();
    bytes.resize(old + kWindow);
    const zip_int64_t got = zip_fread(file.get(), bytes.data() + old, kWindow);
    if (got < 0)
      return Error{ErrorKind::input, "a file of the zip archive is damaged", where, "ask for it again"};
    bytes.resize(old + static_cast<std::size_t>(got));
    if (bytes.size() > most)
      return Error{ErrorKind::input, "the zip archive unpacks to more than a parcel can hold", where,
                   "it is no parcel; do not unpack it"};
    if (got == 0) return bytes;
  }
}

}  // namespace

Result<std::string> write_zip(const Parcel& parcel) {
  zip_error_t error;
  zip_error_init(&error);
  const Source buffer(zip_source_buffer_create(nullptr, 0, 0, &error));
  if (!buffer) return no_memory("no memory for the parcel");
  zip_source_keep(buffer.get());  // it is read after the archive has let go of it
  Archive archive(zip_open_from_source(buffer.get(), ZIP_CREATE | ZIP_TRUNCATE, &error));
  if (!archive) {
    zip_source_free(buffer.get());
    return no_memory("the zip archive could not be begun");
  }
  for (const Member& member : parcel.members)
    if (!add(archive.get(), member, DosTime(parcel.time)))
      return no_memory("a file could not be put into the zip archive");
  if (zip_close(archive.get()) != 0) return no_memory("the zip archive could not be ended");
  (void)archive.release();  // zip_close() has freed it

  std::string bytes;
  if (zip_source_open(buffer.get()) != 0) return no_memory("the zip archive could not be read back");
  for (;;) {
    const std::size_t old = bytes.size();
    bytes.resize(old + kWindow);
    const zip_int64_t got = zip_source_read(buffer.get(), bytes.data() + old, kWindow);
    bytes.resize(old + static_cast<std::size_t>(std::max<zip_int64_t>(got, 0)));
    if (got < 0) return no_memory("the zip archive could not be read back");
    if (got == 0) break;
  }
  zip_source_close(buffer.get());
  return bytes;
}

Result<std::vector<Member>> read_zip(std::string_view bytes, const std::string& where) {
  const Error broken{ErrorKind::input, "the zip archive is damaged or cut off", where, "ask for it again"};
  zip_error_t error;
  zip_error_init(&error);
  zip_source_t* source = zip_source_buffer_create(bytes.data(), bytes.size(), 0, &error);
  if (source == nullptr) return no_memory("no memory to read the parcel");
  Archive archive(zip_open_from_source(source, ZIP_RDONLY, &error));
  if (!archive) {
    zip_source_free(source);
    return broken;
  }
  const zip_int64_t count = zip_get_num_entries(archive.get(), 0);
  if (count < 0 || static_cast<std::size_t>(count) > kMaxMembers)
    return Error{ErrorKind::input, "the zip archive holds more files than a parcel can", where,
                 "it is no parcel"};
  std::vector<Member> members;
  std::size_t left = kMaxUnpackedBytes;
  for (zip_uint64_t i = 0; i < static_cast<zip_uint64_t>(count); ++i) {
    const char* name = zip_get_name(archive.get(), i, 0);
    if (name == nullptr) return broken;
    const std::string_view text = name;
    if (text.empty() || text.back() == '/') continue;  // a folder
    auto content = unpack(archive.get(), i, left, where);
    if (!content) return content.error();
    left -= content->size();
    members.push_back({std::string(text), std::move(*content)});
  }
  return members;
}

}  // namespace tramlog
