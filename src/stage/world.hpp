// The machine and its buses, put together; plays a scenario into a capture.
#pragma once

#include <cstdint>
#include <memory>
#include <optional>
#include <vector>

#include "io/capture_writer.hpp"
#include "stage/agenda.hpp"
#include "stage/bus.hpp"
#include "stage/controller.hpp"
#include "stage/implement.hpp"
#include "stage/payload.hpp"
#include "stage/physics.hpp"
#include "stage/recorder.hpp"
#include "stage/streams.hpp"
#include "stage/timeline.hpp"
#include "stage/transfer_desk.hpp"
#include "stage/truth.hpp"

namespace tramlog::stage {

class World {
 public:
  World(const Scenario& scenario, CaptureWriter& writer, Recorder::NextRun next_run = {});

  /// Plays to the scenario's end, or until that many frames are written.
  void play(std::optional<std::uint64_t> frames);

  void send(std::uint32_t sender, std::size_t bus, const WireFrame& frame, Hook hook = {});
  Controller* find(std::string_view label);
  /// Who holds this address on this bus; nullptr if nobody.
  Controller* holder(std::size_t bus, Address address);
  TimeNs now() const { return agenda.now(); }

  const Scenario& scenario;
  Agenda agenda;
  MachineState machine;
  Recorder recorder;
  Truth truth;
  TransferDesk desk;
  Streams streams;
  Timeline timeline;
  Physics physics;
  std::vector<std::unique_ptr<Bus>> buses;
  std::vector<std::unique_ptr<Controller>> controllers;
  std::vector<std::unique_ptr<Implement>> implements;

 private:
  bool valid(const Passenger& passenger) const;
  void done(std::size_t bus, Passenger& passenger);
  bool bus_off(std::uint32_t sender) const { return agenda.now() < nerves_[sender].off_until; }
  /// Error confinement of a sender (fact sheet 9.3).
  struct Nerves {
    unsigned errors = 0;  // transmit error counter
    TimeNs off_until = 0;
  };
  std::vector<Nerves> nerves_;
  Random noise_;
  void deliver(std::size_t bus, const Passenger& passenger);
  std::optional<unsigned> hit(std::size_t bus, unsigned bits);
  bool spoiled(std::size_t bus, const Passenger& passenger, unsigned bit);
  void statistics(std::size_t bus, std::int64_t second);
};

/// The identifier of a message (fact sheet 1.1).
std::uint32_t identifier(unsigned priority, Pgn pgn, Address source, Address destination);

}  // namespace tramlog::stage
