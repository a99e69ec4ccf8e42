#include "schema/schema.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <mutex>
#include <tuple>
#include <unordered_map>

#include "schema/built_in.hpp"
#include "schema/csv_lines.hpp"
#include "schema/message_index.hpp"
#include "schema/message_store.hpp"

namespace tramlog {
namespace {

// Identifier without priority: what a transfer tells of the message that it carried.
constexpr std::uint32_t kRouteMask = (1U << kPriorityShift) - 1;

const MessageSpec* spec_of(StoredMessage* message) {
  return message == nullptr ? nullptr : MessageStore::spec(*message);
}

void tell(SchemaLayer& layer, SchemaProblem problem) {
  if (layer.problems.size() < kMaxSchemaProblems)
    layer.problems.push_back(std::move(problem));
  else
    ++layer.problems_left_out;
}

// The signal that stands for an SPN: of the latest layer that has one, the first. Gathered at the first
// question, because every message must be made for it.
class SignalsBySpn {
 public:
  SignalsBySpn() = default;
  SignalsBySpn(const SignalsBySpn&) {}
  SignalsBySpn& operator=(const SignalsBySpn&) {
    forget();
    return *this;
  }

  void forget() {
    signals_.clear();
    gathered_ = false;
  }

  const SignalSpec* find(std::uint32_t spn, const std::vector<std::shared_ptr<MessageStore>>& stores) {
    const std::lock_guard lock(gathering_);
    if (!gathered_) gather(stores);
    const auto found = signals_.find(spn);
    return found == signals_.end() ? nullptr : found->second;
  }

 private:
  void gather(const std::vector<std::shared_ptr<MessageStore>>& stores) {
    for (auto store = stores.rbegin(); store != stores.rend(); ++store)
      for (std::size_t i = 0; i < (*store)->size(); ++i)
        for (const SignalSpec& signal : MessageStore::spec((**store)[i])->signals)
          if (signal.spn) signals_.emplace(*signal.spn, &signal);
    gathered_ = true;
  }

  std::mutex gathering_;
  bool gathered_ = false;
  std::unordered_map<std::uint32_t, const SignalSpec*> signals_;
};

}  // namespace

struct Schema::Impl {
  std::vector<SchemaLayer> layers;
  std::vector<std::shared_ptr<MessageStore>> stores;  // shared with the built-in schema
  MessageIndex standard;                              // 11-bit identifiers
  MessageIndex exact;                                 // 29-bit identifiers
  MessageIndex routes;                                // the same without priority
  MessageIndex by_source;                             // PGN and source, of entries for one source
  MessageIndex by_pgn;                                // for whom nothing above is
  SignalsBySpn spns;
  Dictionary dictionary;
  TroubleTexts trouble_texts;

  std::string place_of(const StoredMessage& message) const {
    return fmt::format("{}:{}", layers[message.layer].name, message.line);
  }

  void warn(const StoredMessage& message, std::string text, std::string remedy) {
    SchemaLayer& layer = layers[message.layer];
    SchemaProblem problem;
    problem.severity = SchemaProblem::Severity::warning;
    problem.file = layer.name;
    problem.line = message.line;
    problem.subject = message.name;
    problem.text = std::move(text);
    problem.remedy = std::move(remedy);
    tell(layer, std::move(problem));
  }
  void warn_of_replaced(const StoredMessage& message, const StoredMessage& earlier) {
    warn(message, fmt::format("replaces {} ({})", earlier.name, place_of(earlier)),
         "leave it out of one of the two files if that is not meant");
  }

  // Within a layer the first stays; a later layer wins.
  void put(MessageIndex& index, std::uint32_t key, StoredMessage& message) {
    StoredMessage*& slot = index[key];
    if (slot == nullptr || slot->layer != message.layer) slot = &message;
  }

  void enter_standard(StoredMessage& message) {
    const StoredMessage* const earlier = standard.find(message.id);
    put(standard, message.id, message);
    if (earlier != nullptr && earlier->layer != message.layer) warn_of_replaced(message, *earlier);
  }

  void enter_extended(StoredMessage& message) {
    std::vector<const StoredMessage*> replaced;
    const auto replaces = [&](const StoredMessage* earlier) {
      if (earlier != nullptr && earlier->layer != message.layer &&
          std::find(replaced.begin(), replaced.end(), earlier) == replaced.end())
        replaced.push_back(earlier);
    };
    const bool for_all = !message.exact_only && source_of(message.id) == kNullAddress;
    if (!for_all) {
      replaces(exact.find(message.id));
      put(exact, message.id, message);
    }
    if (!message.exact_only) {
      if (!for_all) {
        const std::uint32_t route = message.id & kRouteMask;
        const std::uint32_t of_source = message.pgn << 8 | source_of(message.id);
        replaces(routes.find(route));
        put(routes, route, message);
        replaces(by_source.find(of_source));
        put(by_source, of_source, message);
      }
      // Whoever has no entry of its own gets the one for everybody; a later one for a single source is none.
      StoredMessage*& best = by_pgn[message.pgn];
      const bool best_for_all = best != nullptr && source_of(best->id) == kNullAddress;
      if (for_all && best_for_all) replaces(best);
      if (best_for_all && !for_all && best->layer != message.layer && replaced.empty())
        warn(message,
             fmt::format("counts for source 0x{:02X} only: from others the PGN stays {} ({})",
                         source_of(message.id), best->name, place_of(*best)),
             "give the identifier the source 0xFE if it is meant for all");
      if (best == nullptr || (for_all && !best_for_all) ||
          (for_all == best_for_all && best->layer != message.layer))
        best = &message;
    }
    for (const StoredMessage* earlier : replaced) warn_of_replaced(message, *earlier);
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
  const auto index = static_cast<std::uint16_t>(impl_->layers.size());
  SchemaLayer& layer = impl_->begin_layer(file.name, built_in, std::move(file.problems));
  layer.problems_left_out = file.problems_left_out;
  const auto store = std::make_shared<MessageStore>(std::move(file), index);
  layer.messages = store->size();
  layer.signals = store->signals();
  impl_->stores.push_back(store);
  impl_->spns.forget();
  for (MessageIndex* keys : {&impl_->exact, &impl_->routes, &impl_->by_source, &impl_->by_pgn})
    keys->reserve_more(store->size());
  for (std::size_t i = 0; i < store->size(); ++i) {
    StoredMessage& message = (*store)[i];
    if (message.extended)
      impl_->enter_extended(message);
    else
      impl_->enter_standard(message);
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
  if (!extended) return spec_of(impl_->standard.find(id));
  if (StoredMessage* message = impl_->exact.find(id)) return spec_of(message);
  return find(pgn_of(id), source_of(id), destination_of(id));
}

const MessageSpec* Schema::find(Pgn pgn, Address source, Address destination) const {
  const std::uint32_t route = make_id(0, pgn, source, destination) & kRouteMask;
  if (StoredMessage* message = impl_->routes.find(route)) return spec_of(message);
  if (StoredMessage* message = impl_->by_source.find(pgn << 8 | source)) return spec_of(message);
  return spec_of(impl_->by_pgn.find(pgn));
}

const std::vector<SchemaLayer>& Schema::layers() const {
  return impl_->layers;
}

std::vector<const MessageSpec*> Schema::messages() const {
  std::vector<StoredMessage*> all;
  for (const MessageIndex* index :
       {&impl_->standard, &impl_->exact, &impl_->routes, &impl_->by_source, &impl_->by_pgn})
    index->for_each([&](StoredMessage& message) { all.push_back(&message); });
  const auto place = [](const StoredMessage* message) {
    return std::tuple(!message->extended, message->pgn, message->id, message->layer, message->number);
  };
  std::sort(all.begin(), all.end(),
            [&](const StoredMessage* a, const StoredMessage* b) { return place(a) < place(b); });
  all.erase(std::unique(all.begin(), all.end()), all.end());
  std::vector<const MessageSpec*> specs;
  specs.reserve(all.size());
  for (StoredMessage* message : all) specs.push_back(spec_of(message));
  return specs;
}

std::string Schema::source_line(const MessageSpec& message, std::uint32_t line) const {
  const bool known = message.layer < impl_->layers.size();
  return fmt::format("{}:{}", known ? impl_->layers[message.layer].name : "schema", line);
}

std::vector<Pgn> Schema::long_page_1_pgns() const {
  constexpr Pgn kPages = 0x30000, kPage1 = 0x10000;
  constexpr std::uint32_t kFrameBytes = 8;
  std::vector<Pgn> pgns;
  for (const MessageIndex* index : {&impl_->by_source, &impl_->by_pgn})
    index->for_each([&](const StoredMessage& message) {
      if ((message.pgn & kPages) == kPage1 && message.length > kFrameBytes) pgns.push_back(message.pgn);
    });
  return pgns;
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
  const SignalSpec* const signal = impl_->spns.find(spn, impl_->stores);
  if (signal == nullptr) return std::nullopt;
  // A title begins a sentence, this text stands within one; "PTO" stays.
  std::string text = signal->title;
  const auto upper = [](char c) { return c >= 'A' && c <= 'Z'; };
  if (text.size() > 1 && upper(text[0]) && !upper(text[1])) text[0] = static_cast<char>(text[0] - 'A' + 'a');
  return text;
}

std::string Schema::fmi_text(std::uint8_t fmi) const {
  const auto text = impl_->trouble_texts.fmi.find(fmi);
  return text == impl_->trouble_texts.fmi.end() ? fmt::format("reserved (FMI {})", fmi) : text->second;
}

}  // namespace tramlog
