// Who holds which address, and what to call them. Internal to the Interpreter.
#pragma once

#include <array>
#include <cstdint>
#include <memory>
#include <optional>
#include <string>
#include <unordered_map>
#include <vector>

#include "decode/interpreter.hpp"
#include "isobus/network.hpp"

namespace tramlog {

class Speakers final : public NetworkSink {
 public:
  static constexpr std::size_t kMaxBuses = 64;  // claims on further ones are not followed

  explicit Speakers(std::optional<Roster> roster) : network_(*this), roster_(std::move(roster)) {}

  /// A data frame of PGN 60928.
  void take_claim(const Event& frame);

  /// Changes whenever anybody's NAME or words do.
  std::uint32_t version() const { return version_; }
  /// The same for one address.
  std::uint32_t version(BusIndex bus, Address address) const {
    return bus < buses_.size() ? (*buses_[bus])[address] : 0;
  }
  Speaker at(BusIndex bus, Address address) const;

 private:
  void on_claim(const Claim& claim) override;
  void on_owner(BusIndex bus, Address address, ControllerId from, ControllerId to, TimeNs time) override;
  void changed(BusIndex bus, Address address);
  void match_labels();

  Network network_;
  std::optional<Roster> roster_;
  std::unordered_map<std::uint64_t, std::string> labels_;  // by NAME
  std::vector<std::unique_ptr<std::array<std::uint32_t, 256>>> buses_;
  std::uint32_t version_ = 1;
};

}  // namespace tramlog
