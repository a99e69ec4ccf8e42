// What the description of one device is: uploaded on this bus, updated, taken from known pools, or not known
// (ISO 11783-10; fact sheet, process data, 3, 4.8).
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "implement/device.hpp"
#include "implement/known_pools.hpp"
#include "implement/pool_upload.hpp"

namespace tramlog {

class PoolDesk {
 public:
  static constexpr std::size_t kMaxTries = 16,
                               kMaxTriesInAll = 64;  // searches among the known pools, for one label and NAME
  static constexpr std::size_t kMaxDesignatorChanges = 256;  // of one device
  /// Reading and merging pools may cost so many bytes for each that was uploaded, and so many to begin with:
  /// hostile traffic cannot make a recording take forever.
  static constexpr std::uint64_t kReadForEach = 16, kReadAtFirst = 8 * 1024 * 1024;

  /// Both must outlive it. The device's pool is kept right.
  PoolDesk(Device& device, const KnownPools& pools) : device_(device), known_(pools) {}

  /// The NAME in the client's address claim.
  void set_claimed(Name name);
  /// A structure label that the client asked for or the task controller holds for it, and the localization
  /// label.
  void on_structure(const StructureLabel& label);
  void on_localization(const LocalizationLabel& label) { localization_ = label; }
  /// The upload is complete, or is to be activated as it is; nothing happens if it is as it was at the last
  /// call. `version_4`: both partners speak version 4 or newer; none: not known.
  void take_upload(PoolUpload& upload, Mark at, std::optional<bool> version_4);
  /// The client asks to activate what the task controller has stored: a known pool of its label will do.
  void on_activate_stored(Mark at);
  /// The answer to it.
  void on_activated(Mark at);
  /// Uploaded in a part of the recording that was left out here.
  void take_before_cut(const KnownPool& pool, Mark at);
  void on_refused() { activated_ = false; }
  void on_deactivated() { activated_ = false; }
  void on_designator(const DesignatorChange& change);
  /// The client told this value, and no start-up was heard: a known pool of its NAME will do.
  void on_traffic(Mark at, ProcessVariable variable);

  /// Grows whenever the device's pool changes.
  std::size_t changes() const { return changes_; }
  PoolSource source() const { return source_; }
  /// The pool's objects back to back; texts that came later are not in them.
  const std::vector<std::uint8_t>& bytes() const { return bytes_; }
  /// Uploaded here and read whole, or known with the structure label that was told here: what it does not
  /// have, the device does not have.
  bool dependable() const { return dependable_; }
  /// Of the latest upload; "" if its size was as announced.
  const std::string& mismatch() const { return mismatch_; }
  /// The latest upload was not heard whole.
  bool unheard() const { return unheard_; }
  void conclude(ImplementRecord& out) const;

 private:
  bool take_known(Mark at, const ProcessVariable* told);
  void adopt(DevicePool pool, std::vector<std::uint8_t> bytes, PoolSource source, std::string words, Mark at);
  bool afford(std::uint64_t bytes);

  Device& device_;
  const KnownPools& known_;
  std::optional<Name> claimed_;
  std::optional<StructureLabel> structure_;
  std::optional<LocalizationLabel> localization_;
  std::vector<std::uint8_t> bytes_;
  bool activated_ = false, dependable_ = false, unheard_ = false;
  bool altered_ = false;  // since bytes_ were read: other texts
  std::string mismatch_, words_;
  std::uint64_t updates_ = 0;
  std::optional<TimeNs> updated_;
  PoolSource source_ = PoolSource::none;
  std::size_t changes_ = 0, tries_ = 0, tries_in_all_ = 0, designators_ = 0;
  std::uint64_t uploaded_bytes_ = 0, read_bytes_ = 0, not_read_ = 0;
};

}  // namespace tramlog
