#include "schema/schema.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <tuple>
#include <unordered_map>

#include "schema/built_in.hpp"
#include "schema/csv_lines.hpp"

namespace tramlog {
namespace {

using SpecIndex = std::unordered_map<std::uint32_t, const MessageSpec*>;

// Identifier without priority: what a transfer tells of the message that it carried.
constexpr std::uint32_t kRouteMask = (1U << kPriorityShift) - 1;

const MessageSpec* look_up(const SpecIndex& index, std::uint32_t key) {
  const auto found = index.find(key);
  return found == index.end() ? nullptr : found->second;
}

void forget(SpecIndex& index, std::uint32_t key, const MessageSpec* spec) {
  const auto found = index.find(key);
  if (found != index.end() && found->second == spec) index.erase(found);
}

void tell(SchemaLayer& layer, SchemaProblem problem) {
  if (layer.problems.size() < kMaxSchemaProblems)
    layer.problems.push_back(std::move(problem));
  else
    ++layer.problems_left_out;
}

}  // namespace

struct Schema::Impl {
  std::vector<SchemaLayer> layers;
  std::vector<std::shared_ptr<const MessageSpec>> messages;  // shared with the built-in schema
  SpecIndex standard;                                        // 11-bit identifiers
  SpecIndex exact;                                           // 29-bit identifiers
  SpecIndex routes;                                          // the same without priority
  SpecIndex by_pgn;
  std::unordered_map<Pgn, std::vector<const MessageSpec*>> pgn_members;  // of the latest layer that has it
  std::unordered_map<std::uint32_t, const SignalSpec*> spns;
  Dictionary dictionary;
  TroubleTexts trouble_texts;

  std::string place_of(const MessageSpec& spec) const {
    return fmt::format("{}:{}", layers[spec.layer].name, spec.line);
  }

  void warn_of_replaced(const MessageSpec& spec, const MessageSpec& earlier) {
    SchemaLayer& layer = layers[spec.layer];
    SchemaProblem problem;
    problem.severity = SchemaProblem::Severity::warning;
    problem.file = layer.name;
    problem.line = spec.line;
    problem.subject = spec.name;
    problem.text = fmt::format("replaces {} ({})", earlier.name, place_of(earlier));
    problem.remedy = "leave it out of one of the two files if that is not meant";
    tell(layer, std::move(problem));
  }

  // Within a layer the first stays; a later layer wins.
  void put(SpecIndex& index, std::uint32_t key, const MessageSpec& spec) {
    const MessageSpec*& slot = index[key];
    if (slot == nullptr || slot->layer != spec.layer) slot = &spec;
  }

  void enter_standard(const MessageSpec& spec) {
    const MessageSpec* const earlier = look_up(standard, spec.id);
    put(standard, spec.id, spec);
    if (earlier != nullptr && earlier->layer != spec.layer) warn_of_replaced(spec, *earlier);
  }

  void enter_extended(const MessageSpec& spec) {
    std::vector<const MessageSpec*> replaced;
    if (const MessageSpec* same = look_up(exact, spec.id); same != nullptr && same->layer != spec.layer)
      replaced.push_back(same);
    if (!spec.exact_only) {
      std::vector<const MessageSpec*>& members = pgn_members[spec.pgn];
      if (!members.empty() && members.front()->layer != spec.layer) {
        for (const MessageSpec* member : members) {
          forget(exact, member->id, member);
          forget(routes, member->id & kRouteMask, member);
          if (std::find(replaced.begin(), replaced.end(), member) == replaced.end())
            replaced.push_back(member);
        }
        members.clear();
        by_pgn.erase(spec.pgn);
      }
      members.push_back(&spec);
      const MessageSpec*& best = by_pgn[spec.pgn];
      if (best == nullptr || (source_of(best->id) != kNullAddress && source_of(spec.id) == kNullAddress))
        best = &spec;
    }
    put(exact, spec.id, spec);
    put(routes, spec.id & kRouteMask, spec);
    for (const MessageSpec* earlier : replaced) warn_of_replaced(spec, *earlier);
  }

  SchemaLayer& begin_layer(const std::string& name, bool built_in, std::vector<SchemaProblem>&& problems) {
    SchemaLayer& layer = layers.emplace_back();
    layer.name = name;
    layer.built_in = built_in;
    layer.problems = std::move(problems);
    return layer;
  }

  void warn_of_entries(std::size_t count, const std::string& file, std::string_view what) {
    if (count == 0) return;
    SchemaLayer& layer = layers.back();
    SchemaProblem problem;
    problem.severity = SchemaProblem::Severity::warning;
    problem.file = layer.name;
    problem.text = fmt::format("replaces {} {} of {}", count, what, file);
    problem.remedy = "nothing is to be done if that is meant";
    tell(layer, std::move(problem));
  }
};

Schema::Schema() : impl_(std::make_unique<Impl>()) {}
Schema::~Schema() = default;
Schema::Schema(Schema&&) noexcept = default;
Schema& Schema::operator=(Schema&&) noexcept = default;

const Schema& Schema::built_in() {
  static const Schema schema = [] {
    Schema made;
    for (const BuiltInFile& file : built_in_files()) {
      const std::string name(file.name);
      if (name.ends_with(".dbc")) {
        DbcFile parsed = parse_dbc(file.text, name);
        check_dbc(parsed);
        made.add(std::move(parsed), true);
      } else if (column_of(csv_header(file.text), "ddi") >= 0) {
        made.add(parse_dictionary(file.text, name), true);
      } else {
        made.add(parse_trouble_texts(file.text, name), true);
      }
    }
    return made;
  }();
  return schema;
}

Schema Schema::with_built_in() {
  Schema copy;
  *copy.impl_ = *built_in().impl_;
  return copy;
}

void Schema::add(DbcFile file, bool built_in) {
  SchemaLayer& layer = impl_->begin_layer(file.name, built_in, std::move(file.problems));
  layer.problems_left_out = file.problems_left_out;
  const std::size_t index = impl_->layers.size() - 1;
  std::vector<DbcMessage> messages = std::move(file.messages);
  for (DbcMessage& from : messages) {
    const auto spec = std::make_shared<MessageSpec>(make_message_spec(std::move(from), file));
    spec->layer = static_cast<std::uint16_t>(index);
    ++layer.messages;
    layer.signals += spec->signals.size();
    for (SignalSpec& signal : spec->signals) {
      signal.message = spec.get();
      if (!signal.spn) continue;
      const SignalSpec*& slot = impl_->spns[*signal.spn];
      if (slot == nullptr || slot->message->layer != index) slot = &signal;
    }
    impl_->messages.push_back(spec);
    if (spec->extended)
      impl_->enter_extended(*spec);
    else
      impl_->enter_standard(*spec);
  }
}

void Schema::add(Dictionary dictionary, bool built_in) {
  impl_->begin_layer(dictionary.file, built_in, std::move(dictionary.problems)).entries =
      dictionary.entries.size();
  Dictionary& all = impl_->dictionary;
  std::size_t replaced = 0;
  for (auto& [ddi, entry] : dictionary.entries)
    if (!all.entries.insert_or_assign(ddi, std::move(entry)).second) ++replaced;
  impl_->warn_of_entries(replaced, all.file, replaced == 1 ? "entry" : "entries");
  all.file = std::move(dictionary.file);
}

void Schema::add(TroubleTexts texts, bool built_in) {
  impl_->begin_layer(texts.file, built_in, std::move(texts.problems)).entries =
      texts.spn.size() + texts.fmi.size();
  TroubleTexts& all = impl_->trouble_texts;
  std::size_t replaced = 0;
  for (auto& [spn, text] : texts.spn)
    if (!all.spn.insert_or_assign(spn, std::move(text)).second) ++replaced;
  for (auto& [fmi, text] : texts.fmi)
    if (!all.fmi.insert_or_assign(fmi, std::move(text)).second) ++replaced;
  impl_->warn_of_entries(replaced, all.file, replaced == 1 ? "text" : "texts");
  all.file = std::move(texts.file);
}

const MessageSpec* Schema::find(std::uint32_t id, bool extended) const {
  if (!extended) return look_up(impl_->standard, id);
  if (const MessageSpec* spec = look_up(impl_->exact, id)) return spec;
  return look_up(impl_->by_pgn, pgn_of(id));
}

const MessageSpec* Schema::find(Pgn pgn, Address source, Address destination) const {
  const std::uint32_t route = make_id(0, pgn, source, destination) & kRouteMask;
  if (const MessageSpec* spec = look_up(impl_->routes, route)) return spec;
  return look_up(impl_->by_pgn, pgn);
}

const std::vector<SchemaLayer>& Schema::layers() const {
  return impl_->layers;
}

std::vector<const MessageSpec*> Schema::messages() const {
  std::vector<const MessageSpec*> all;
  for (const SpecIndex* index : {&impl_->standard, &impl_->exact, &impl_->routes, &impl_->by_pgn})
    for (const auto& [key, spec] : *index) all.push_back(spec);
  const auto place = [](const MessageSpec* spec) {
    return std::tuple(!spec->extended, spec->pgn, spec->id, spec->layer, spec->line, spec);
  };
  std::sort(all.begin(), all.end(),
            [&](const MessageSpec* a, const MessageSpec* b) { return place(a) < place(b); });
  all.erase(std::unique(all.begin(), all.end()), all.end());
  return all;
}

const Dictionary& Schema::dictionary() const {
  return impl_->dictionary;
}

const TroubleTexts& Schema::trouble_texts() const {
  return impl_->trouble_texts;
}

std::optional<std::string> Schema::spn_text(std::uint32_t spn) const {
  if (const auto text = impl_->trouble_texts.spn.find(spn); text != impl_->trouble_texts.spn.end())
    return text->second;
  // Facts, network and diagnostics, 3.3: these stand for whole controllers.
  constexpr std::uint32_t kFirstOfController = 2000, kLastOfController = 2255;
  if (spn >= kFirstOfController && spn <= kLastOfController)
    return fmt::format("control function at source address {}", spn - kFirstOfController);
  const auto signal = impl_->spns.find(spn);
  if (signal == impl_->spns.end()) return std::nullopt;
  // A title begins a sentence, this text stands within one; "PTO" stays.
  std::string text = signal->second->title;
  const auto upper = [](char c) { return c >= 'A' && c <= 'Z'; };
  if (text.size() > 1 && upper(text[0]) && !upper(text[1])) text[0] = static_cast<char>(text[0] - 'A' + 'a');
  return text;
}

std::string Schema::fmi_text(std::uint8_t fmi) const {
  const auto text = impl_->trouble_texts.fmi.find(fmi);
  return text == impl_->trouble_texts.fmi.end() ? fmt::format("reserved (FMI {})", fmi) : text->second;
}

}  // namespace tramlog
