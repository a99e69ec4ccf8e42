#include <fmt/format.h>

#include <algorithm>
#include <unordered_map>

#include "isobus/device_pool.hpp"

namespace tramlog {
namespace {

/// Object ids, sorted.
class IdSet {
 public:
  explicit IdSet(const DevicePool& pool) {
    if (pool.device) ids_.push_back(pool.device->id);
    add(pool.elements);
    add(pool.variables);
    add(pool.properties);
    add(pool.presentations);
    std::sort(ids_.begin(), ids_.end());
  }
  bool holds(std::uint16_t id) const { return std::binary_search(ids_.begin(), ids_.end(), id); }

 private:
  template <class List>
  void add(const List& list) {
    for (const auto& object : list) ids_.push_back(object.id);
  }
  std::vector<std::uint16_t> ids_;
};

/// Objects of `part` take the place of the earlier one of the same id, the others follow; an earlier object
/// whose id is now that of another class goes. `ids`: all of the part.
template <class List>
void take_over(List& list, const List& part, const IdSet& ids, std::size_t base) {
  std::unordered_map<std::uint16_t, std::size_t> part_of;  // the first in the part
  for (std::size_t i = 0; i < part.size(); ++i) part_of.try_emplace(part[i].id, i);
  std::vector<bool> used(part.size(), false);
  List merged;
  merged.reserve(list.size() + part.size());
  const auto take = [&](std::size_t i) {
    merged.push_back(part[i]);
    merged.back().offset += base;
    used[i] = true;
  };
  for (auto& object : list) {
    if (!ids.holds(object.id)) {
      merged.push_back(std::move(object));
    } else if (const auto found = part_of.find(object.id); found != part_of.end() && !used[found->second]) {
      take(found->second);
    }
  }
  // What repeats an id of its own part is left out, so that parts without end cannot fill the memory.
  for (std::size_t i = 0; i < part.size(); ++i)
    if (!used[i] && part_of.at(part[i].id) == i) take(i);
  list = std::move(merged);
}

}  // namespace

void merge_device_pool(DevicePool& pool, const DevicePool& part) {
  if (pool.bytes == 0 && pool.objects() == 0) {
    pool = part;
    pool.index_objects();
    return;
  }
  const bool localization_only = part.elements.empty() && part.variables.empty() && part.properties.empty();
  if (!localization_only && pool.bytes + part.bytes > kMaxPoolBytes) {
    pool.add_problem(
        {pool.bytes, kNullObject,
         fmt::format("a further part of {} bytes was left out: the pool would have more than {} bytes",
                     part.bytes, kMaxPoolBytes),
         true});
    return;
  }
  const std::size_t base = pool.bytes;
  const IdSet ids(part);

  // What was wrong with an object that is replaced is no longer true; lengths that could not be read on are.
  pool.problems.erase(std::remove_if(pool.problems.begin(), pool.problems.end(),
                                     [&](const PoolProblem& problem) {
                                       return !problem.broken && problem.object != kNullObject &&
                                              ids.holds(problem.object);
                                     }),
                      pool.problems.end());
  if (part.device) {
    if (!pool.device || pool.device->id == part.device->id) {
      pool.device = part.device;
      pool.device->offset += base;
    } else {
      pool.add_problem(
          {base + part.device->offset, part.device->id,
           fmt::format("this is a further device object (DVC), though a pool holds one only; that of "
                       "byte {} is used",
                       pool.device->offset)});
    }
  }
  take_over(pool.elements, part.elements, ids, base);
  take_over(pool.variables, part.variables, ids, base);
  take_over(pool.properties, part.properties, ids, base);
  take_over(pool.presentations, part.presentations, ids, base);
  for (PoolProblem problem : part.problems) {
    if (problem.by_check) continue;
    problem.offset += base;
    pool.add_problem(std::move(problem));
  }
  pool.problems_not_listed += part.problems_not_listed - part.check_problems_not_listed;
  pool.bytes += part.bytes;
  pool.bytes_read += part.bytes_read;
  pool.index_objects();
}

}  // namespace tramlog
