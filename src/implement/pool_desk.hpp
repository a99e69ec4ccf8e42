// What the description of one device is: uploaded on this bus, updated, taken from known pools, or not known (fact sheet, process data, 3 and 4.8).
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "implement/device.hpp"
#include "implement/known_pools.hpp"

namespace tramlog {

class PoolDesk {
 public:
  static constexpr std::size_t kMaxUploads = 64;

  /// Both must outlive it. The device's pool is kept right.
  PoolDesk(Device& device, const KnownPools& pools) : device_(device), known_(pools) {}

  /// The NAME in the client's address claim.
  void set_claimed(Name name);
  /// A structure or localization label that the client asked for.
  void on_structure(const StructureLabel& label) { structure_ = label; }
  void on_localization(const LocalizationLabel& label) { localization_ = label; }
  /// Bytes of a transfer (61) without the command byte.
  void on_transfer(Bytes part, Mark at);
  /// A transfer of a part was not heard whole: the parts collected are no pool.
  void on_lost_part() { lost_part_ = true; }
  /// The client asks to activate. `version_4`: both partners speak version 4 or newer, as far as known.
  void on_activate(Mark at, std::optional<bool> version_4);
  /// The answer to it.
  void on_activated(Mark at);
  void on_refused(Mark at);
  void on_deactivated();
  void on_designator(const DesignatorChange& change);
  /// Process data flow, and no start-up was heard: a known pool of that NAME will do.
  void on_traffic(Mark at);

  bool uploading() const { return !parts_.empty(); }
  std::size_t collected() const { return parts_.size(); }
  /// Grows whenever the device's pool changes.
  std::size_t changes() const { return changes_; }
  PoolSource source() const { return source_; }
  void conclude(ImplementRecord& out);

 private:
  void take_parts(Mark at, std::optional<bool> version_4);
  bool take_known(Mark at, bool needs_label);
  void adopt(DevicePool pool, std::vector<std::uint8_t> bytes, PoolSource source, std::string words, Mark at);

  Device& device_;
  const KnownPools& known_;
  std::optional<Name> claimed_;
  std::optional<StructureLabel> structure_;
  std::optional<LocalizationLabel> localization_;
  std::vector<std::uint8_t> parts_, bytes_;
  Mark parts_at_;
  bool lost_part_ = false, activated_ = false, tried_traffic_ = false;
  PoolSource source_ = PoolSource::none;
  std::string words_;
  std::size_t changes_ = 0;
};

}  // namespace tramlog
