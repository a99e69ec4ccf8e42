#include "report/series_json.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <iterator>
#include <sstream>
#include <utility>

namespace tramlog {
namespace {

// A list of numbers as a text; dumped_report() takes its quotes away.
std::string numbers(const std::vector<float>& values, int decimals) {
  std::string text = "[";
  for (const float value : values) {
    if (text.back() != '[') text += ',';
    if (!std::isfinite(value)) {
      text += "null";
      continue;
    }
    std::string number = fmt::format("{:.{}f}", value, decimals);
    if (decimals > 0) {
      number.erase(number.find_last_not_of('0') + 1);
      if (number.back() == '.') number.pop_back();
    }
    text += number == "-0" ? "0" : number;
  }
  return text + ']';
}

bool is_numbers(std::string_view key) {
  constexpr std::string_view kKeys[] = {"mean_pct", "peak_pct", "least_v",   "greatest_v",
                                        "set",      "actual",   "commanded", "on"};
  return std::find(std::begin(kKeys), std::end(kKeys), key) != std::end(kKeys);
}

// Four figures are enough for a picture.
int decimals_of(const std::vector<float>& a, const std::vector<float>& b) {
  float most = 0;
  for (const auto* values : {&a, &b})
    for (const float value : *values)
      if (std::isfinite(value)) most = std::max(most, std::abs(value));
  int decimals = 0;
  for (float limit = 1000; most > 0 && most < limit && decimals < 6; limit /= 10) ++decimals;
  return decimals;
}

}  // namespace

OrderedJson machine_json(const Conclusions& all, bool place) {
  const MachineRecord& machine = all.machine;
  OrderedJson object{
      {"hours_first", machine.hours_first ? OrderedJson(*machine.hours_first) : OrderedJson(nullptr)},
      {"hours_last", machine.hours_last ? OrderedJson(*machine.hours_last) : OrderedJson(nullptr)}};
  if (place && machine.place)
    object["place"] = {{"latitude_deg", machine.place->latitude_deg},
                       {"longitude_deg", machine.place->longitude_deg}};
  else
    object["place"] = nullptr;
  return object;
}

OrderedJson series_json(const Conclusions& all) {
  const DaySeries& series = all.series;
  if (series.steps == 0) return nullptr;
  OrderedJson loads = OrderedJson::array(), voltages = OrderedJson::array(), rates = OrderedJson::array(),
              sections = OrderedJson::array();
  for (const LoadSeries& one : series.loads)
    loads.push_back({{"bus", all.buses[one.bus].name},
                     {"mean_pct", numbers(one.mean_pct, 1)},
                     {"peak_pct", numbers(one.peak_pct, 1)}});
  for (const VoltageSeries& one : series.voltages)
    voltages.push_back(
        {{"controller",
          one.controller ? OrderedJson(all.controllers[*one.controller].name.hex()) : OrderedJson(nullptr)},
         {"address", one.address},
         {"bus", all.buses[one.bus].name},
         {"least_v", numbers(one.least_v, 2)},
         {"greatest_v", numbers(one.greatest_v, 2)}});
  for (const RateSeries& one : series.rates) {
    const int decimals = decimals_of(one.set, one.actual);
    rates.push_back({{"implement", one.implement},
                     {"pair", one.pair},
                     {"subject", one.subject},
                     {"quantity", one.quantity},
                     {"unit", one.unit},
                     {"set", numbers(one.set, decimals)},
                     {"actual", numbers(one.actual, decimals)}});
  }
  for (const SectionSeries& one : series.sections)
    sections.push_back({{"implement", one.implement},
                        {"section", one.section},
                        {"subject", one.subject},
                        {"commanded", numbers(one.commanded, 2)},
                        {"on", numbers(one.on, 2)}});
  return {{"start", format_rfc3339(series.start)},
          {"step_s", to_seconds(series.step)},
          {"steps", series.steps},
          {"loads", std::move(loads)},
          {"voltages", std::move(voltages)},
          {"rates", std::move(rates)},
          {"sections", std::move(sections)}};
}

std::string dumped_report(OrderedJson object) {
  const auto dumped = [](const OrderedJson& json) {
    return json.dump(2, ' ', false, OrderedJson::error_handler_t::replace);
  };
  const OrderedJson series = std::exchange(object["series"], nullptr);
  std::string text = dumped(object) + "\n";
  if (series.is_null()) return text;
  // No text can hold a line break here, so the beginning of a line is ours.
  constexpr std::string_view kPlace = "\n  \"series\": null";
  std::string lines;
  std::istringstream in(dumped(series));
  for (std::string line; std::getline(in, line);) {
    const std::size_t key = line.find('"');
    const std::size_t colon = key == std::string::npos ? key : line.find("\": \"[", key);
    if (colon != std::string::npos && is_numbers(std::string_view(line).substr(key + 1, colon - key - 1))) {
      line.erase(line.rfind('"'), 1);
      line.erase(colon + 3, 1);
    }
    lines += (lines.empty() ? "" : "\n  ") + line;
  }
  text.replace(text.find(kPlace) + kPlace.size() - 4, 4, lines);
  return text;
}

}  // namespace tramlog
