// The connection between one client and one task controller or data logger (ISO 11783-10; fact sheet, process
// data, 1 to 3 and 6): who said what, what was answered, what was refused, and when it was lost. Bounded;
// asks no clock.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "implement/device.hpp"
#include "implement/dialogue_measurements.hpp"
#include "implement/dialogue_requests.hpp"
#include "implement/dialogue_tally.hpp"
#include "implement/pool_desk.hpp"
#include "isobus/transfers.hpp"

namespace tramlog {

class Dialogue {
 public:
  static constexpr std::size_t kMaxEvents = 200;

  /// Device and desk must outlive it.
  Dialogue(Device& device, PoolDesk& desk, ControllerId server, Address server_address, bool data_logger);

  /// Process data of either to the other, whole messages of any carrier.
  void on_message(const Message& message, bool from_client);
  /// The server's status, sent to all.
  void on_status(const TaskControllerStatus& status, Mark at);
  /// PGN 59392 about process data by one of the two to the other; its control byte.
  void on_nack(Mark at, bool by_server, std::uint8_t control);
  void on_working_set_master(Mark at);
  /// A transfer of process data between the two that did not end complete.
  void on_transfer_failed(const TransferEnd& end, bool from_client);
  /// One of the two started again, by its address claim.
  void on_restart(Mark at, bool of_client);
  /// The recorder lost frames; may become known late.
  void on_blind(TimeNs from, TimeNs to);
  /// Time has come this far; to be called often.
  void on_time(TimeNs now);
  bool data_logger() const { return data_logger_; }
  /// How often the connection was lost (time-out, NACK, restart).
  unsigned losses() const { return losses_; }

  /// Appends the lines of topic "connection".
  LinkRecord conclude(TimeNs end, std::vector<CheckLine>& lines) const;

 private:
  friend class DialogueLines;
  /// A step of the start-up that the server must answer.
  struct Ask {
    DescriptorMessage what;
    Mark at;
    TimeNs deadline = 0;
    std::optional<TimeNs> suspected;
  };

  void event(Mark at, std::string text, bool trouble = false);
  const char* server() const { return data_logger_ ? "data logger" : "task controller"; }
  SpanNs patience() const;
  void come_to(TimeNs now);
  void watch_pulses(TimeNs now);
  void watch_asks(TimeNs now);
  void watch_answers(TimeNs now);
  void lose();
  bool client_is_there() const;
  void compare_tasks(Mark at, bool judge);
  std::string variable_words(ProcessVariable variable) const;
  std::string object_words(std::uint16_t id) const;
  std::optional<bool> both_version_4() const;

  // Start-up: dialogue_start_up.cpp.
  void take_version(Bytes data, bool from_client, Mark at);
  void take_descriptor(const Message& message, Mark at);
  void ask(DescriptorMessage what, Mark at, TimeNs since);
  void answered(DescriptorMessage what);
  void take_label_request(const StructureLabel& label, Mark at);
  void take_label(const StructureLabel& label, Mark at);
  void take_part(const Message& message, Mark at);
  void take_part_response(const TransferResponse& response, Mark at);
  void take_activation(Bytes data, Mark at);
  void take_activation_response(const ActivationResponse& response, Mark at);
  void refuse_pool(Mark at, std::string text);

  // Values: dialogue_values.cpp.
  void take_variable(const ProcessMessage& told, bool from_client, Mark at);
  void take_acknowledgement(const ProcessAcknowledgement& told, bool from_client, Mark at);
  void check_declared(const ProcessMessage& told, Mark at);
  std::string explanation(const ProcessAcknowledgement& told, const std::optional<OpenRequest>& of) const;

  Device& device_;
  PoolDesk& desk_;
  LinkRecord record_;
  bool data_logger_;
  TimeNs now_ = 0, next_look_ = 0;
  unsigned losses_ = 0;

  // Start-up.
  bool heard_start_ = false;  // labels, upload or activation
  bool deactivating_ = false, left_ = false;
  std::optional<ProcessVersion> client_version_, server_version_;
  std::optional<StructureLabel> asked_label_, held_label_;
  std::optional<LocalizationLabel> asked_localization_, held_localization_;
  PoolUpload upload_;
  std::vector<Ask> asks_;
  std::uint64_t uploads_ = 0, activations_ = 0, needless_uploads_ = 0, unknown_labels_ = 0;
  bool uploaded_since_label_ = false;
  std::optional<Mark> activated_at_, first_upload_at_;
  Cases refused_pools_, stalled_, start_nacks_;

  // Being there.
  Pulse status_, client_task_;
  std::optional<TaskControllerStatus> status_told_;
  std::optional<bool> echo_;
  std::optional<Mark> apart_since_;  // status and echo disagree
  bool apart_told_ = false;
  std::uint64_t echoes_ = 0, task_changes_ = 0, client_starts_ = 0, server_starts_ = 0;
  std::uint8_t last_client_code_ = 0xFF;
  std::optional<TimeNs> last_command_;
  Cases out_of_step_, dropped_;

  // Values.
  OpenRequests open_;
  MeasurementSetups setups_;
  std::uint64_t unjudged_ = 0, all_bits_ = 0, beyond_ = 0;
  Cases refusals_, unanswered_, missing_, undeclared_;
};

}  // namespace tramlog
