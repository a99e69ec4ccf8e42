#include "parcel/parcel.hpp"

#include <catch2/catch.hpp>
#include <filesystem>
#include <random>

#include "parcel/pack.hpp"
#include "parcel/unpack.hpp"
#include "unit/temp_folder.hpp"

using namespace tramlog;

namespace {

Parcel sample() {
  Parcel parcel;
  parcel.subject = "Drill: supply \"cart\" failed \xC3\xA9";
  parcel.time = 1'779'868'800 * kSecond;
  std::string all;
  for (int i = 0; i < 70'000; ++i) all += static_cast<char>(i * 7 + i / 256);
  parcel.members = {{kSummaryMember, "Answer\n.\nFrom here on <&>\n" + std::string(2000, 'x') + "\n"},
                    {"report.json", "{}\r\n"},
                    {"slices.pcapng.zst", all},
                    {"empty.txt", ""},
                    {kFactsMember, "{}"}};
  return parcel;
}

}  // namespace

TEST_CASE("Parcels come back byte for byte, whatever is in them") {
  const Parcel parcel = sample();
  for (const ParcelKind kind : {ParcelKind::mail, ParcelKind::zip}) {
    auto bytes = write_parcel(parcel, kind);
    REQUIRE(bytes);
    CHECK(*write_parcel(parcel, kind) == *bytes);
    CHECK(recognise_parcel(std::string_view(*bytes).substr(0, 4096)) == kind);
    auto back = read_parcel(*bytes, "test");
    REQUIRE(back);
    REQUIRE(back->members.size() == parcel.members.size());
    for (std::size_t i = 0; i < parcel.members.size(); ++i) {
      CHECK(back->members[i].name == parcel.members[i].name);
      CHECK(back->members[i].bytes == parcel.members[i].bytes);
    }
  }
}

TEST_CASE("A mail is fit to travel: seven bits, short lines") {
  auto bytes = write_mail(sample());
  REQUIRE(bytes);
  std::size_t length = 0;
  for (std::size_t i = 0; i < bytes->size(); ++i) {
    const auto c = static_cast<unsigned char>((*bytes)[i]);
    CHECK_FALSE((c == '\n' && (i == 0 || (*bytes)[i - 1] != '\r')));
    if (c > 127 || c == 0) FAIL("byte " << unsigned{c} << " at " << i);
    length = c == '\n' ? 0 : length + 1;
    if (length > 999) FAIL("long line at " << i);
  }
  CHECK(bytes->starts_with("Date: Wed, 27 May 2026 08:00:00 +0000\r\n"));
}

TEST_CASE("What is no parcel is told as such") {
  CHECK_FALSE(recognise_parcel(""));
  CHECK_FALSE(recognise_parcel("\x0A\x0D\x0D\x0A"));
  CHECK_FALSE(recognise_parcel("machine = \"x\"\n[[controller]]\n"));
  CHECK_FALSE(recognise_parcel("A sentence: of words\nand another\n"));
  CHECK(recognise_parcel("From x Mon\nReceived: by y\nSubject: z\n\n") == ParcelKind::mail);
  CHECK_FALSE(read_parcel("From: a@b\r\nMIME-Version: 1.0\r\n\r\nhello\r\n", "test"));
  Parcel other = sample();
  other.members.pop_back();
  auto zip = write_zip(other);
  REQUIRE(zip);
  auto refused = read_parcel(*zip, "test");
  REQUIRE_FALSE(refused);
  CHECK(refused.error().kind == ErrorKind::input);
}

TEST_CASE("Hostile parcels: parts in parts, broken and cut ones") {
  std::string deep = "From: a@b\r\nMIME-Version: 1.0\r\n";
  for (int i = 0; i < 20'000; ++i) {
    const std::string mark = "m" + std::to_string(i);
    deep += "Content-Type: multipart/mixed; boundary=" + mark + "\r\n\r\n--" + mark + "\r\n";
  }
  CHECK_FALSE(read_parcel(deep, "test"));
  std::string some = "From: a@b\r\nMIME-Version: 1.0\r\n";
  for (int i = 0; i < 2000; ++i) {
    const std::string mark = "m" + std::to_string(i);
    some += "Content-Type: multipart/mixed; boundary=" + mark + "\r\n\r\n--" + mark + "\r\n";
  }
  CHECK_FALSE(read_parcel(some, "test"));

  std::mt19937_64 random(5);
  for (const ParcelKind kind : {ParcelKind::mail, ParcelKind::zip}) {
    auto whole = write_parcel(sample(), kind);
    REQUIRE(whole);
    int refused = 0;
    for (int i = 0; i < 400; ++i) {
      std::string bytes = whole->substr(0, i % 2 == 0 ? random() % whole->size() : whole->size());
      for (int k = 0; k < 4 && !bytes.empty(); ++k)
        bytes[random() % bytes.size()] = static_cast<char>(random());
      auto read = read_parcel(bytes, "test");
      refused += !read;
      if (read) CHECK(read->members.size() <= 5);
    }
    CHECK(refused > 100);
  }
}

TEST_CASE("A zip archive that unpacks without end is not unpacked") {
  Parcel parcel = sample();
  parcel.members.push_back({"zeros.bin", std::string(kMaxUnpackedBytes - 1000, '\0')});
  auto bytes = write_zip(parcel);
  REQUIRE(bytes);
  CHECK(bytes->size() < kMaxUnpackedBytes / 100);
  auto read = read_parcel(*bytes, "test");
  REQUIRE_FALSE(read);
  CHECK(read.error().what.find("more than a parcel can hold") != std::string::npos);
}

TEST_CASE("Members stay in their folder and overwrite nothing") {
  CHECK(safe_member_name("../../etc/passwd") == "passwd");
  CHECK(safe_member_name("C:\\x\\report.txt") == "report.txt");
  CHECK(safe_member_name("..") == "unnamed");
  CHECK(safe_member_name(".profile") == "profile");
  CHECK(safe_member_name("-rf") == "rf");
  CHECK(safe_member_name("a\nb\x1B[2J") == "a_b_[2J");
  CHECK(safe_member_name("") == "unnamed");
  CHECK(safe_member_name(std::string(500, 'x')).size() == 120);
  const test::TempFolder folder;
  Parcel parcel = sample();
  parcel.members.insert(parcel.members.begin(), {"../outside.txt", "x"});
  auto zip = write_zip(parcel);
  REQUIRE(zip);
  auto read = read_parcel(*zip, "test");
  REQUIRE(read);
  auto paths = unpack_parcel(*read, folder.path("in"));
  REQUIRE(paths);
  CHECK(folder.has("in/outside.txt"));
  CHECK_FALSE(folder.has("outside.txt"));
  const test::TempFolder other;
  other.write("summary.txt", "mine");
  CHECK_FALSE(unpack_parcel(*read, other.path()));
  CHECK(other.read("summary.txt") == "mine");
  CHECK(other.names() == std::vector<std::string>{"summary.txt"});
}

TEST_CASE("Sizes as people write them") {
  CHECK(*parse_size("8MB") == 8'000'000);
  CHECK(*parse_size("1.5 mb") == 1'500'000);
  CHECK(*parse_size("100kB") == 100'000);
  CHECK(*parse_size("2MiB") == 2'097'152);
  CHECK(*parse_size("500000") == 500'000);
  for (const char* wrong :
       {"", "MB", "8GB", "8 M B B", "-8MB", "1e9", "0", "19kB", "9999999999999", ".", "1.2.3MB"}) {
    INFO(wrong);
    CHECK_FALSE(parse_size(wrong));
  }
}

TEST_CASE("Members of one name all come out, the first under its own, and touch nothing that lies there") {
  Parcel parcel = sample();
  parcel.members.push_back({"c.part", "part"});
  parcel.members.push_back({"c", "whole"});
  std::string mail = *write_mail(parcel);
  // Another of the name "c": what a mail program may add, but no writer of ours.
  const std::size_t at = mail.find("filename=c.part");
  REQUIRE(at != std::string::npos);
  mail.replace(at, 15, "filename=c");
  auto read = read_parcel(mail, "test");
  REQUIRE(read);
  const test::TempFolder folder;
  folder.write("target", "mine");
  std::filesystem::create_symlink("target", folder.path("summary.txt.part"));
  folder.write("contents.json.part", "mine, too");
  REQUIRE(unpack_parcel(*read, folder.path()));
  CHECK(folder.read("c") == "part");
  CHECK(folder.read("again-2-c") == "whole");
  CHECK(folder.read("target") == "mine");
  CHECK(std::filesystem::is_symlink(folder.path("summary.txt.part")));
  CHECK(folder.read("contents.json.part") == "mine, too");

  auto plain = read_parcel(*write_mail(parcel), "test");
  REQUIRE(plain);
  const test::TempFolder other;
  REQUIRE(unpack_parcel(*plain, other.path()));
  CHECK(other.read("c.part") == "part");
  CHECK(other.read("c") == "whole");
}
