// tramlog devices: what an implement says it consists of, with its latest values.
#include <fmt/format.h>

#include <algorithm>
#include <cstdio>

#include "base/text.hpp"
#include "io/pool_folder.hpp"
#include "io/text_file.hpp"
#include "report/devices_page.hpp"
#include "tool/command.hpp"
#include "tool/implement_option.hpp"

namespace tramlog {
namespace {

struct DevicesChoice {
  CommonOptions common;
  int element = -1;
  std::string device, save;
  bool learn = false;
};

/// Those that --device names; all without it.
Result<std::vector<const ImplementRecord*>> chosen(const Conclusions& all, const std::string& name) {
  std::vector<const ImplementRecord*> list;
  std::string names;
  for (const ImplementRecord& implement : all.seeding.implements) {
    if (name.empty() || is_called(all, implement, name)) list.push_back(&implement);
    if (implement.client != kNobody)
      names += (names.empty() ? "" : ", ") + all.controllers[static_cast<std::size_t>(implement.client)].name.hex();
  }
  if (!name.empty() && list.empty())
    return Error{ErrorKind::usage, "no implement of that name", name,
                 names.empty() ? "this recording has none" : "name a NAME (" + names + "), a label of the roster or a designator"};
  return list;
}

/// A usage error if --save would overwrite what is read.
std::optional<Error> check_save(const DevicesChoice& choice) {
  if (choice.save.empty()) return std::nullopt;
  CommonOptions saved = choice.common;
  saved.output = choice.save;
  return check_paths(saved);
}

std::optional<Error> save(const Conclusions& all, const DevicesChoice& choice) {
  auto list = chosen(all, choice.device);
  if (!list) return list.error();
  std::erase_if(*list, [](const ImplementRecord* implement) { return implement->pool_bytes.empty(); });
  if (list->empty())
    return Error{ErrorKind::usage, "no device description is known to save", choice.save,
                 "name a recording of a start-up with an upload, or give --library"};
  if (list->size() > 1)
    return Error{ErrorKind::usage, "several implements have a description", choice.save,
                 "choose one with --device (NAME, label of the roster, or designator)"};
  const std::vector<std::uint8_t>& bytes = list->front()->pool_bytes;
  const auto written = write_text(choice.save, std::string(bytes.begin(), bytes.end()));
  if (!written) return written.error();
  fmt::print(stderr, "tramlog: {} saved : {} : give it back with --device-description\n",
             fmt::format("{} bytes", bytes.size()), choice.save);
  return std::nullopt;
}

std::optional<Error> learn(const Conclusions& all, const DevicesChoice& choice) {
  const std::string folder = library_folder(choice.common);
  if (folder.empty())
    return Error{ErrorKind::usage, "no library folder", "--learn", "name one with --library, or the machine's --roster"};
  unsigned learned = 0;
  for (const ImplementRecord& implement : all.seeding.implements) {
    if (implement.source != PoolSource::uploaded || !implement.pool.device) continue;
    const DeviceObject& device = *implement.pool.device;
    const auto written = write_pool_file(folder, device.name.hex() + "-" + hex_bytes(device.structure.bytes, ""),
                                         implement.pool_bytes);
    if (!written) return written.error();
    ++learned;
    fmt::print(stderr, "tramlog: description of {} {} : {} : read again with --library\n",
               printable_utf8(device.designator), written.value() ? "kept" : "was known already", folder);
  }
  if (learned == 0)
    return Error{ErrorKind::usage, "no upload of a device description is in this recording", folder,
                 "name a recording of a start-up with an upload"};
  return std::nullopt;
}

int run(const DevicesChoice& choice) {
  const CommonOptions& options = choice.common;
  if (options.format != "text" && options.format != "json")
    return fail({ErrorKind::usage, "unknown format \"" + options.format + "\"", "--format", "choose one of: json, text"});
  if (const auto error = check_save(choice)) return fail(*error);
  auto roster = load_roster_if_named(options.roster);
  if (!roster) return fail(roster.error());
  auto schema = load_schema(options.schema, tell_problem);
  if (!schema) return fail(schema.error());
  auto report = examine(options, *roster, *schema);
  if (!report) return fail(report.error());
  if (!choice.save.empty())
    if (const auto error = save(report->found, choice)) return fail(*error);
  if (choice.learn)
    if (const auto error = learn(report->found, choice)) return fail(*error);
  // Only what was asked for is shown; what is wrong elsewhere decides no exit code here.
  int code = exit_code_of(*report) == kDamagedInput ? kDamagedInput : kFine;
  if (!choice.device.empty()) {
    auto list = chosen(report->found, choice.device);
    if (!list) return fail(list.error());
    std::vector<ImplementRecord> kept;
    for (const ImplementRecord* implement : *list) kept.push_back(*implement);
    report->found.seeding.implements = std::move(kept);
  }
  for (const ImplementRecord& implement : report->found.seeding.implements)
    for (const CheckLine& line : implement.lines)
      if (code == kFine && line.verdict == Verdict::attention &&
          (line.code == "device.pool-refused" || line.code == "device.pool-broken"))
        code = kSomethingWrong;
  if (choice.element >= 0) {
    const auto has = [&](const ImplementRecord& implement) {
      const auto number = static_cast<std::uint16_t>(choice.element);
      return implement.pool.element_by_number(number) != nullptr ||
             std::any_of(implement.values.begin(), implement.values.end(),
                         [&](const LastValue& value) { return value.variable.element == number; });
    };
    const auto& implements = report->found.seeding.implements;
    if (std::none_of(implements.begin(), implements.end(), has))
      return fail({ErrorKind::usage, "no implement has this element", fmt::format("--element {}", choice.element),
                   "see tramlog devices without --element"});
  }
  DevicesOptions shown;
  shown.format = {options.unicode, options.place};
  if (choice.element >= 0) shown.element = static_cast<std::uint16_t>(choice.element);
  return deliver(options,
                 options.format == "json" ? devices_json(*report, *schema, shown) : devices_page(*report, *schema, shown), code);
}

}  // namespace

void add_devices_command(CLI::App& app, int& code) {
  auto choice = std::make_shared<DevicesChoice>();
  CommonOptions& options = choice->common;
  CLI::App* command = app.add_subcommand(
      "devices", "The device description an implement uploaded, as a tree, and its process data by element name");
  add_captures(*command, options);
  add_roster(*command, options, false);
  add_schema(*command, options);
  add_implement(*command, options);
  command->add_option("--element", choice->element, "Only this element and what is below it")->check(CLI::Range(0, 4095));
  command->add_option("--device", choice->device, "Only this implement: NAME, label of the roster, or designator");
  command->add_option("--save", choice->save, "Write the binary description to this file");
  command->add_flag("--learn", choice->learn, "Keep the uploaded descriptions in the library folder");
  add_format(*command, options);
  add_place(*command, options);
  add_output(*command, options);
  command->footer(
      "Example:\n  tramlog devices start-up.pcapng.zst\n"
      "  tramlog devices --save drill.pool start-up.pcapng.zst\n"
      "  tramlog devices --device-description drill.pool later.pcapng.zst\n\n"
      "Exit code: 0 done, 1 a description is broken or was refused, 2 wrong usage, 3 a capture is damaged or\n"
      "unreadable, 4 the environment failed.");
  command->callback([choice, &code] { code = run(*choice); });
}

}  // namespace tramlog
