// BA_DEF_, BA_DEF_DEF_, BA_.
#include <fmt/format.h>

#include <algorithm>

#include "base/text.hpp"
#include "schema/dbc_limits.hpp"
#include "schema/dbc_parser.hpp"
#include "schema/dbc_problems.hpp"

namespace tramlog {
namespace {

using Of = AttributeDefinition::Of;
using Type = AttributeDefinition::Type;

constexpr std::string_view kDefinitionForm = "write it as BA_DEF_ BO_ \"Name\" INT 0 1000;";
constexpr std::string_view kDefaultForm = "write it as BA_DEF_DEF_ \"Name\" 0;";
constexpr std::string_view kAttributeForm = "write it as BA_ \"Name\" BO_ 2566853886 100;";
constexpr std::size_t kMaxChoices = 1'000;  // of one attribute
constexpr std::size_t kMaxUndefined = 1'000;

std::optional<Type> type_of(std::string_view word) {
  if (word == "INT") return Type::integer;
  if (word == "HEX") return Type::hex;
  if (word == "FLOAT") return Type::real;
  if (word == "STRING") return Type::string;
  if (word == "ENUM") return Type::enumeration;
  return std::nullopt;
}

std::optional<Of> object_of(std::string_view word) {
  if (word == "BU_") return Of::node;
  if (word == "BO_") return Of::message;
  if (word == "SG_") return Of::signal;
  if (word == "EV_") return Of::environment;
  return std::nullopt;
}

// The index that a number or a text of digits gives.
std::optional<std::size_t> index_of(const AttributeValue& value) {
  const auto number = value.number ? value.number : parse_decimal(trimmed(value.text));
  if (!number || number->digits < 0 || number->exponent < 0 || number->exponent > 3) return std::nullopt;
  std::uint64_t index = static_cast<std::uint64_t>(number->digits);
  for (int i = 0; i < number->exponent; ++i) {
    if (index > kMaxChoices) return std::nullopt;
    index *= 10;
  }
  return index;
}

}  // namespace

const AttributeValue* DbcFile::attribute(const std::vector<AttributeValue>& own, AttributeDefinition::Of of,
                                         std::string_view wanted) const {
  // Written twice: the later counts.
  for (auto value = own.rbegin(); value != own.rend(); ++value)
    if (value->name == wanted) return &*value;
  for (const AttributeDefinition& definition : definitions)
    if (definition.of == of && definition.name == wanted)
      return definition.default_value ? &*definition.default_value : nullptr;
  return nullptr;
}

const AttributeDefinition* DbcParser::definition(Of of, const std::string& name) {
  if (last_definition_ < file_.definitions.size()) {
    const AttributeDefinition& last = file_.definitions[last_definition_];
    if (last.of == of && last.name == name) return &last;
  }
  const auto& names = definitions_[static_cast<std::size_t>(of)];
  const auto found = names.find(name);
  if (found == names.end()) return nullptr;
  last_definition_ = found->second;
  return &file_.definitions[last_definition_];
}

void DbcParser::read_definition() {
  form_ = kDefinitionForm;
  AttributeDefinition definition;
  if (token_.kind == DbcToken::Kind::word) {
    const auto of = object_of(token_.text);
    if (!of) {
      expected("BU_, BO_, SG_, EV_ or the attribute's name in quotes");
      return skip_statement();
    }
    definition.of = *of;
    advance();
  }
  if (token_.kind == DbcToken::Kind::string) subject_name_ = token_.text;
  const DbcToken at = token_;
  if (!take_text(definition.name, "the attribute's name in quotes")) return skip_statement();
  const auto type = token_.kind == DbcToken::Kind::word ? type_of(token_.text) : std::nullopt;
  if (!type) {
    expected("INT, HEX, FLOAT, STRING or ENUM");
    return skip_statement();
  }
  definition.type = *type;
  advance();
  if (definition.type == Type::enumeration) {
    read_choices(definition);
  } else {
    read_limits(definition);
  }
  finish_statement();

  auto& names = definitions_[static_cast<std::size_t>(definition.of)];
  if (file_.definitions.size() >= kMaxDbcDefinitions) {
    std::size_t used = kMaxDbcDefinitions;
    has_room(used, kMaxDbcDefinitions, 1, "definitions of attributes");
    return;
  }
  if (!names.emplace(definition.name, file_.definitions.size()).second) {
    problem(Severity::warning, at, "the attribute is defined twice, the first definition counts",
            "remove one of them");
    return;
  }
  file_.definitions.push_back(std::move(definition));
}

// Two numbers; none, or twice 0, for no limits.
void DbcParser::read_limits(AttributeDefinition& definition) {
  const DbcToken at = token_;
  std::optional<Decimal> limits[2];
  for (auto& limit : limits) {
    if (token_.kind != DbcToken::Kind::number) break;
    limit = parse_dbc_decimal(token_.text);
    advance();
  }
  while (token_.kind == DbcToken::Kind::number) advance();
  if (!limits[0] || !limits[1] || definition.type == Type::string) return;
  if (limits[0]->digits == 0 && limits[1]->digits == 0) return;
  if (limits[0]->to_double() > limits[1]->to_double()) {
    problem(Severity::warning, at,
            fmt::format("the range {} to {} is upside down", limits[0]->to_string(), limits[1]->to_string()),
            "write the smaller number first; values are not held against it");
    return;
  }
  definition.minimum = limits[0];
  definition.maximum = limits[1];
}

// "a","b": commas may be missing, quotes too.
void DbcParser::read_choices(AttributeDefinition& definition) {
  while (!at_end()) {
    if (token_.is(',')) {
      advance();
      continue;
    }
    if (token_.kind == DbcToken::Kind::mark) return;
    if (definition.choices.size() >= kMaxChoices) {
      problem(Severity::error, token_, fmt::format("the attribute has more than {} choices", kMaxChoices),
              "shorten the list; the rest is left out");
      while (!at_end()) advance();
      return;
    }
    if (!has_room(codes_used_, kMaxDbcCodes, 1, "codes")) return;
    std::string& choice = definition.choices.emplace_back();
    if (token_.kind == DbcToken::Kind::string) {
      take_text(choice, "a choice in quotes");
    } else {
      choice = token_.value();
      advance();
    }
  }
}

// A number, a text in quotes, or a word.
bool DbcParser::take_value(AttributeValue& value) {
  if (token_.kind == DbcToken::Kind::number) value.number = parse_dbc_decimal(token_.text);
  if (value.number) {
    advance();
    return true;
  }
  if (at_name()) {
    value.text = token_.value();
    advance();
    return true;
  }
  return take_text(value.text, "the attribute's value");
}

void DbcParser::settle_value(AttributeValue& value, const AttributeDefinition& definition,
                             const DbcToken& at) {
  switch (definition.type) {
    case Type::enumeration:
      return settle_choice(value, definition, at);
    case Type::string:
      if (at.kind == DbcToken::Kind::number) value.text = at.text;
      value.number.reset();
      return;
    case Type::integer:
    case Type::hex:
    case Type::real:
      if (!value.number) value.number = parse_dbc_decimal(trimmed(value.text));
      if (value.number) value.text.clear();
      if (value.number)
        settle_number(value, definition, at);
      else
        problem(Severity::warning, at,
                fmt::format("the attribute \"{}\" has the value \"{}\", but it is defined as a number",
                            quoted_piece(value.name), quoted_piece(value.text)),
                "write a number");
  }
}

void DbcParser::settle_number(const AttributeValue& value, const AttributeDefinition& definition,
                              const DbcToken& at) {
  if (tell_unusable(definition.of, value, at) || !definition.minimum || !definition.maximum) return;
  const double number = value.number->to_double();
  if (number >= definition.minimum->to_double() && number <= definition.maximum->to_double()) return;
  problem(Severity::warning, at,
          fmt::format("the attribute \"{}\" has the value {}, its range is {} to {}",
                      quoted_piece(value.name), value.number->to_string(), definition.minimum->to_string(),
                      definition.maximum->to_string()),
          "correct the value, or the range in its BA_DEF_");
}

// Values of attributes that mean something to us, but not with this number. True: told.
bool DbcParser::tell_unusable(Of of, const AttributeValue& value, const DbcToken& at) {
  const bool is_period = of == Of::message && value.name == "GenMsgCycleTime";
  if (!is_period && !(of == Of::signal && value.name == "SPN")) return false;
  if (!value.number || value.number->digits == 0) return false;
  const double number = value.number->to_double();
  if (is_period) {
    if (number >= kMinDbcPeriodMs && number <= kMaxDbcPeriodMs) return false;
    problem(Severity::warning, at,
            fmt::format("the cycle time (GenMsgCycleTime) of {} ms is no period, {} to {} ms are possible",
                        value.number->to_string(), kMinDbcPeriodMs, kMaxDbcPeriodMs),
            "correct it, or write 0 for none; it is not used");
    return true;
  }
  if (number >= 1 && number <= kMaxDbcSpn && value.number->exponent >= 0) return false;
  problem(
      Severity::warning, at,
      fmt::format("{} is no SPN, whole numbers up to {} are possible", value.number->to_string(), kMaxDbcSpn),
      "correct it, or write 0 for none; it is not used");
  return true;
}

void DbcParser::settle_choice(AttributeValue& value, const AttributeDefinition& definition,
                              const DbcToken& at) {
  const std::vector<std::string>& choices = definition.choices;
  if (!value.number) {
    const auto found = std::find(choices.begin(), choices.end(), value.text);
    if (found != choices.end()) {
      value.number = decimal_of(found - choices.begin());
      return;
    }
  }
  const auto index = index_of(value);
  if (!index || *index >= choices.size()) {
    const std::string written = value.number ? value.number->to_string() : value.text;
    problem(Severity::warning, at,
            fmt::format("the attribute \"{}\" has the value \"{}\", which is none of its {} choices",
                        quoted_piece(value.name), quoted_piece(written), choices.size()),
            "write a choice of its BA_DEF_ or its index, counted from 0");
    if (value.text.empty()) value.text = written;
    return;
  }
  value.number = decimal_of(static_cast<std::int64_t>(*index));
  if (has_room(copied_, kMaxDbcCopiedBytes, choices[*index].size(), "bytes of repeated texts"))
    value.text = choices[*index];
}

void DbcParser::read_attribute() {
  form_ = kAttributeForm;
  AttributeValue value;
  if (!take_text(value.name, "the attribute's name in quotes")) return skip_statement();
  Target target;
  if (!take_target(target)) return skip_statement();
  const DbcToken at = token_;
  if (!take_value(value)) return skip_statement();
  if (target.of == Of::node || target.of == Of::environment) return finish_statement();
  if (const AttributeDefinition* const defined = definition(target.of, value.name)) {
    settle_value(value, *defined, at);
  } else if (!tell_unusable(target.of, value, at) && undefined_attributes_.size() < kMaxUndefined &&
             undefined_attributes_.insert(value.name).second) {
    problem(Severity::warning, at,
            fmt::format("the attribute \"{}\" is not defined before this line", quoted_piece(value.name)),
            "define it with BA_DEF_; its values are taken as written");
  }
  if (has_room(attributes_, kMaxDbcAttributes, 1, "values of attributes")) {
    auto& own = target.of == Of::signal    ? target.signal->attributes
                : target.of == Of::message ? target.message->attributes
                                           : file_.attributes;
    own.push_back(std::move(value));
  }
  finish_statement();
}

void DbcParser::read_default() {
  form_ = kDefaultForm;
  if (token_.kind == DbcToken::Kind::string) subject_name_ = token_.text;
  Default written;
  if (!take_text(written.value.name, "the attribute's name in quotes")) return skip_statement();
  written.at = token_;
  if (!take_value(written.value)) return skip_statement();
  std::size_t used = defaults_.size();
  if (has_room(used, kMaxDbcDefinitions, 1, "defaults of attributes"))
    defaults_.push_back(std::move(written));
  finish_statement();
}

// At the end, because a file may give the default before the definition. The name alone says which
// definition.
void DbcParser::apply_defaults() {
  for (Default& written : defaults_) {
    subject_name_ = written.value.name;
    bool defined = false;
    for (const auto& names : definitions_) {
      const auto found = names.find(written.value.name);
      if (found == names.end()) continue;
      defined = true;
      AttributeDefinition& target = file_.definitions[found->second];
      AttributeValue value = written.value;
      settle_value(value, target, written.at);
      target.default_value = std::move(value);
    }
    if (!defined && !skipping_)
      problem(Severity::warning, written.at, "the file has no definition (BA_DEF_) of this attribute",
              "define it, or remove its default");
  }
}

}  // namespace tramlog
