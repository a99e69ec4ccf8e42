#include "parcel/pack.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cctype>

#include "base/text.hpp"
#include "base/utf8.hpp"
#include "exam/words.hpp"
#include "io/text_file.hpp"
#include "parcel/contents.hpp"
#include "parcel/scratch_folder.hpp"
#include "report/format.hpp"

namespace tramlog {
namespace {

constexpr const char* kSlicesMember = "slices.pcapng.zst";
constexpr std::size_t kLongestSubject = 160;
constexpr std::size_t kSmallestLimit = 20'000;
constexpr double kFirstGuess = 14;  // bytes a frame, packed
constexpr int kTries = 6;
constexpr std::size_t kContentsGrowth = 4096;  // the lists get longer with slices in them

/// Base64 with its line ends needs 4/3 x 78/76.
std::size_t room_within(ParcelKind kind, std::size_t bytes) {
  return kind == ParcelKind::mail ? bytes / 1000 * 730 : bytes;
}

std::string subject_of(const Report& report) {
  const Conclusions& found = report.found;
  std::string machine =
      found.rollcall && !found.rollcall->machine.empty() ? found.rollcall->machine : "ISO 11783 bus";
  std::string says = "nothing wrong was found";
  if (found.nothing_read())
    says = "nothing was recorded";
  else if (!found.findings.empty())
    says = found.findings.front().text;
  else if (something_wrong(found))
    says = "something is wrong";
  std::string subject = as_ascii(machine + ": " + says);
  std::replace_if(
      subject.begin(), subject.end(), [](char c) { return c < 32; }, ' ');
  if (subject.size() > kLongestSubject) subject = std::string(cut_text(subject, kLongestSubject - 3)) + "...";
  return subject;
}

void add_rendered(std::vector<Member>& members, const PackOrder& order, const char* format,
                  const char* name) {
  const Format* found = find_format(format);
  if (found == nullptr) return;
  members.push_back({name, found->report(*order.report, {false, order.place})});
}

void add_descriptions(std::vector<Member>& members, const Report& report) {
  std::size_t number = 0;
  for (const ImplementRecord& implement : report.found.seeding.implements) {
    ++number;
    if (implement.pool_bytes.empty()) continue;
    const bool named = implement.client != kNobody;
    const std::string who =
        named ? report.found.controllers[static_cast<std::size_t>(implement.client)].name.hex()
              : std::to_string(number);
    std::string name = fmt::format("device-{}.pool", who);
    const auto taken = [&](const std::string& wanted) {
      return std::any_of(members.begin(), members.end(), [&](const Member& m) { return m.name == wanted; });
    };
    if (taken(name)) name = fmt::format("device-{}-{}.pool", who, number);
    members.push_back({name, {implement.pool_bytes.begin(), implement.pool_bytes.end()}});
  }
}

/// What is in it besides slices and lists.
std::vector<Member> fixed_members(const PackOrder& order) {
  std::vector<Member> members;
  add_rendered(members, order, "summary", kSummaryMember);
  add_rendered(members, order, "html", kPageMember);
  add_rendered(members, order, "text", kTextMember);
  add_rendered(members, order, "json", kJsonMember);
  if (!order.roster_text.empty()) members.push_back({kRosterMember, order.roster_text});
  add_descriptions(members, *order.report);
  return members;
}

class Packing {
 public:
  explicit Packing(const PackOrder& order)
      : order_(order), fixed_(fixed_members(order)), highlights_(highlights_of(order.report->found)) {}

  Result<PackedParcel> run() {
    auto bare = finish({}, nullptr);
    if (!bare) return bare.error();
    for (const char* large : {kPageMember, kJsonMember}) {
      if (bare->bytes.size() <= order_.limit) break;
      if (std::erase_if(fixed_, [&](const Member& member) { return member.name == large; }) == 0) continue;
      left_out_.push_back(large);
      bare = finish({}, nullptr);
      if (!bare) return bare.error();
    }
    if (bare->bytes.size() > order_.limit)
      return Error{
          ErrorKind::usage,
          fmt::format("the reports alone need {} bytes, the limit is {}", bare->bytes.size(), order_.limit),
          "--limit",
          order_.kind == ParcelKind::mail
              ? "raise the limit, or write a .zip, which packs them"
              : "raise the limit, or name a shorter part of the recording (tramlog cut)"};
    if (highlights_.empty() || !order_.slice || order_.report->found.nothing_read()) return bare;
    auto folder = ScratchFolder::create();
    if (!folder) return folder.error();
    const std::size_t spare = order_.limit - bare->bytes.size();
    std::size_t room = room_within(order_.kind, spare > kContentsGrowth ? spare - kContentsGrowth : 0);
    double each = kFirstGuess;
    std::optional<PackedParcel> best;
    std::uint64_t best_frames = 0, tried_frames = 0;
    for (int i = 0; i < kTries; ++i) {
      const HighlightPlan plan = plan_slices(highlights_, *order_.density,
                                         static_cast<std::uint64_t>(static_cast<double>(room) / each));
      if (plan.spans.empty() || plan.frames == tried_frames) break;
      tried_frames = plan.frames;
      const std::string path = folder->path() + "/" + kSlicesMember;
      if (const auto error = order_.slice(plan.spans, path)) return *error;
      auto slices = read_text_file(path, kMaxParcelBytes);
      if (!slices) return slices.error();
      const double measured =
          static_cast<double>(slices->size()) / static_cast<double>(std::max<std::uint64_t>(plan.frames, 1));
      if (slices->size() <= room && plan.frames > best_frames) {
        auto packed = finish(std::move(*slices), &plan);
        if (!packed) return packed.error();
        if (packed->bytes.size() <= order_.limit) {
          best = std::move(*packed);
          best_frames = plan.frames;
          if (plan.left_out == 0 && plan.shortened == 0) break;
        }
      }
      // The next try aims a little below the limit; what was too large by so much must not be so again.
      each = best_frames == plan.frames ? measured * 1.03 : std::max(measured * 1.05, each * 1.05);
    }
    return best ? std::move(*best) : std::move(*bare);
  }

 private:
  Result<PackedParcel> finish(std::string slices, const HighlightPlan* plan) const {
    PackedParcel packed;
    packed.parcel.subject = subject_of(*order_.report);
    packed.parcel.time = order_.report->found.end;
    std::vector<Member>& members = packed.parcel.members;
    members = fixed_;
    if (plan != nullptr) members.push_back({kSlicesMember, std::move(slices)});
    const std::string text = contents_text(order_, members, left_out_, highlights_, plan);
    const std::string facts = contents_json(order_, members, left_out_, highlights_, plan);
    members.push_back({kContentsMember, text});
    members.push_back({kFactsMember, facts});
    auto bytes = write_parcel(packed.parcel, order_.kind);
    if (!bytes) return bytes.error();
    packed.bytes = std::move(*bytes);
    packed.remark = fmt::format("{} with {}", counted(packed.bytes.size(), "byte", "bytes"),
                                counted(members.size(), "file", "files"));
    for (const std::string& name : left_out_) packed.remark += ", " + name + " left out to keep the limit";
    if (plan == nullptr)
      packed.remark +=
          highlights_.empty() ? ", no slice of the recording was needed" : ", no slice of the recording fits";
    else if (plan->left_out + plan->shortened > 0)
      packed.remark += fmt::format(", {} shortened and {} left out to keep the limit",
                                   counted(plan->shortened, "slice", "slices"), plan->left_out);
    return packed;
  }

  const PackOrder& order_;
  std::vector<Member> fixed_;
  std::vector<std::string> left_out_;  // members
  std::vector<Highlight> highlights_;
};

}  // namespace

Result<PackedParcel> pack(const PackOrder& order) {
  return Packing(order).run();
}

Result<std::size_t> parse_size(std::string_view text) {
  struct Unit {
    std::string_view name;
    double bytes;
  };
  static constexpr Unit kUnits[] = {{"", 1},     {"b", 1},      {"kb", 1e3},
                                    {"mb", 1e6}, {"kib", 1024}, {"mib", 1048576}};
  const std::string_view given = text;
  std::string digits, unit;
  for (const char c : text) {
    if (c == ' ') continue;
    if (unit.empty() && (std::isdigit(static_cast<unsigned char>(c)) != 0 || c == '.'))
      digits += c;
    else
      unit += static_cast<char>(std::tolower(static_cast<unsigned char>(c)));
  }
  const Error wrong{ErrorKind::usage, "no size: \"" + std::string(given) + "\"", "--limit",
                    "write it as 8MB, 500kB or a number of bytes, at least 20kB"};
  if (digits.empty() || digits.size() > 12 || std::count(digits.begin(), digits.end(), '.') > 1 ||
      digits == ".")
    return wrong;
  const auto* known =
      std::find_if(std::begin(kUnits), std::end(kUnits), [&](const Unit& u) { return u.name == unit; });
  if (known == std::end(kUnits)) return wrong;
  const double bytes = std::stod(digits) * known->bytes;
  if (bytes < static_cast<double>(kSmallestLimit)) return wrong;
  return static_cast<std::size_t>(std::min(bytes, static_cast<double>(kMaxParcelBytes)));
}

}  // namespace tramlog
