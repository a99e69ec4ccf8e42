// The connection between one client and one task controller or data logger (ISO 11783-10; fact sheet, process data, 1 to 3 and 6): who said what, what was
// answered, what was refused, and when it was lost. Bounded; asks no clock.
#pragma once

#include <deque>
#include <map>
#include <optional>
#include <string>
#include <vector>

#include "implement/device.hpp"
#include "implement/pool_desk.hpp"
#include "isobus/transfers.hpp"

namespace tramlog {

class Dialogue {
 public:
  static constexpr std::size_t kMaxEvents = 200;
  static constexpr std::size_t kMaxPending = 256;

  /// Device and desk must outlive it.
  Dialogue(Device& device, PoolDesk& desk, ControllerId server, Address server_address, bool data_logger);

  void on_message(const Message& message, bool from_client);
  void on_status(const TaskControllerStatus& status, Mark at);
  void on_nack(Mark at, bool by_server, std::uint8_t control);
  void on_working_set_master(Mark at);
  void on_transfer_failed(const TransferEnd& end, bool from_client);
  void on_restart(Mark at, bool of_client);
  void on_blind(TimeNs from, TimeNs to);
  void on_time(TimeNs now);
  bool data_logger() const { return data_logger_; }
  /// How often the connection was lost (time-out, NACK, restart).
  unsigned losses() const { return losses_; }

  LinkRecord conclude(TimeNs end, std::vector<CheckLine>& lines) const;

 private:
  /// Counts cases and keeps the first of them.
  struct Cases {
    std::uint64_t count = 0;
    std::vector<Moment> moments;
    std::optional<TimeNs> first, last;
    void add(Mark at, std::string text);
  };
  /// Something that comes every 2 s.
  struct Beat {
    std::optional<Mark> last;
    std::uint64_t count = 0, losses = 0, late = 0;
    bool lost = false;
    double longest_s = 0, lost_s = 0;
    Cases cases;       // losses
    Cases late_cases;  // late, but not lost
    bool skip = false; // do not judge the gap to the next one
  };
  struct Pending {
    ProcessVariable variable;
    ProcessCommand command;
    std::int64_t raw;
    Mark at;
  };

  void event(Mark at, std::string text, bool trouble = false);
  void state(DialogueState state);
  void beat(Beat& beat, Mark at, const char* what);
  void watch(Beat& beat, TimeNs now, const char* what);
  void descriptor(const Message& message, bool from_client, Mark at);
  void variable(const ProcessMessage& told, bool from_client, Mark at);
  void acknowledgement(const ProcessAcknowledgement& told, bool from_client, Mark at);
  void check_declared(const ProcessMessage& told, Mark at);
  void task_edge(bool active, Mark at);
  void lost(Mark at);
  void expire(TimeNs now);
  std::string variable_words(ProcessVariable variable) const;
  std::string object_words(std::uint16_t id) const;
  std::optional<bool> both_version_4() const;
  bool started_here() const { return heard_start_; }

  Device& device_;
  PoolDesk& desk_;
  LinkRecord record_;
  bool data_logger_;
  DialogueState state_ = DialogueState::announced;
  bool heard_start_ = false;   // labels, upload or activation were seen
  bool upload_refused_ = false;
  std::optional<ProcessVersion> client_version_, server_version_;
  std::optional<std::uint32_t> announced_bytes_;
  bool asked_activation_ = false, asked_deactivation_ = false;
  std::optional<Mark> activation_asked_;
  Beat status_, client_task_;
  std::optional<bool> task_, echo_;
  std::optional<Mark> task_since_;
  TimeNs active_since_ = INT64_MIN / 4;
  unsigned losses_ = 0;
  bool echo_told_ = false;
  std::deque<Pending> requests_, sets_, measures_;
  Cases refusals_, unanswered_, missing_, undeclared_, refused_pools_, out_of_step_, nacks_, doubtful_, version_trouble_;
  std::uint64_t uploads_ = 0, activations_ = 0;
  TimeNs blind_until_ = INT64_MIN;
  TimeNs now_ = 0;
  TimeNs next_look_ = 0;
};

}  // namespace tramlog
