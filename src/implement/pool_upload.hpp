// An object pool on its way from a client to one task controller: announced, sent in parts, perhaps not heard
// whole (ISO 11783-10; fact sheet, process data, 3.1: 41, 61, 71).
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "base/bytes.hpp"
#include "can/mark.hpp"
#include "isobus/device_pool.hpp"

namespace tramlog {

class PoolUpload {
 public:
  /// 41: so many bytes will come. Parts of an upload before are forgotten, unless they were all received:
  /// some announce each part on its own.
  void on_announced(std::uint32_t bytes);
  /// 61 without the command byte; `at`: where its transfer began.
  void on_part(Bytes part, Mark at);
  /// The transfer that began there failed after all, or was not heard whole (`unheard`: the recorder's
  /// fault).
  void on_failed_part(Mark began, bool unheard);
  /// 71: the server has what was sent so far.
  void on_received() { received_ = true; }
  /// 71 with an error: the last part is sent again, or the upload is given up.
  void on_refused_part();
  /// Frames were lost while the upload ran.
  void on_blind();
  void clear();

  bool running() const { return announced_.has_value() || !parts_.empty(); }
  std::size_t collected() const { return bytes_.size(); }
  std::optional<std::uint64_t> announced() const { return announced_; }
  std::size_t last_part() const { return parts_.empty() ? 0 : bytes_.size() - parts_.back().begin; }
  /// All announced bytes are here; some clients count the command bytes too. False without an announcement.
  bool complete() const;
  /// What is here does not agree with the announcement, and no frame was lost: "2310 bytes were announced,
  /// but 2200 were sent".
  std::string mismatch() const;
  /// Something was not heard, or kMaxPoolBytes was not enough.
  bool unheard() const;
  Mark began() const { return parts_.empty() ? Mark{} : parts_.front().at; }
  const std::vector<std::uint8_t>& bytes() const { return bytes_; }
  /// There are other bytes than at the last settle(), which tells how many came since then, whatever became
  /// of them.
  bool unsettled() const { return settled_ != bytes_.size() || fresh_ > 0; }
  std::uint64_t settle();

 private:
  struct Part {
    std::size_t begin = 0;
    Mark at;
  };
  static constexpr std::size_t kMaxParts = 4096;
  std::optional<std::uint64_t> announced_;
  std::vector<Part> parts_;
  std::vector<std::uint8_t> bytes_;
  bool unheard_ = false, received_ = false;
  std::size_t settled_ = 0;
  std::uint64_t fresh_ = 0;
};

}  // namespace tramlog
