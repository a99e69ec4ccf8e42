// A drill on the bus: its client and the task controller talk (fact sheet, process data, 1 to 3 and 6.2), the
// drill itself runs behind them. One object plays both sides; what a side hears depends on whether the frame
// was sent and the side listens.
#pragma once

#include <cstdint>
#include <deque>
#include <functional>
#include <optional>
#include <vector>

#include "stage/bus.hpp"
#include "stage/drill.hpp"
#include "stage/implement_truth.hpp"
#include "stage/pool_writer.hpp"
#include "stage/process_bytes.hpp"

namespace tramlog::stage {

class World;
class Controller;

class Implement {
 public:
  Implement(World& world, const ImplementSpec& spec, std::uint64_t seed);
  /// Puts its beginning on the agenda.
  void schedule();
  ImplementTruth truth() const;

 private:
  using Then = std::function<void()>;
  using Frame = std::vector<std::uint8_t>;
  /// A value of the client that can be told.
  struct Variable {
    unsigned element = 0, ddi = 0;
    std::function<std::int64_t()> value;
    SpanNs interval = 0;
    std::int64_t distance_mm = 0, threshold = 0;
    TimeNs last_at = 0;
    double last_odometer = 0;
    std::int64_t last = 0;
    bool due_now = false;
    bool burst = false;  // condensed states may follow each other quickly
  };
  struct Order {
    unsigned command = 0, element = 0, ddi = 0;
    std::int64_t value = 0;
  };

  // implement.cpp: the drill's clock and what it tells by itself
  void tick();
  void tell_due_values();
  void add_variables();
  void add_meter_variables();
  void add(unsigned element, unsigned ddi, std::function<std::int64_t()> value, bool burst = false);
  Variable* find(unsigned element, unsigned ddi);
  void tell(Variable& variable);
  std::int64_t condensed(unsigned group, bool overridden) const;
  std::int64_t total(std::size_t meter);
  void cancel_measurements();
  void show_drive();
  std::int64_t speed_source() const;

  // implement_talk.cpp: who says what to whom
  void from_controller(unsigned priority, const Frame& frame, Then heard = {});
  void from_client(unsigned priority, const Frame& frame, Then heard = {});
  void answer_later(Then then);
  void send_language(Controller& sender, bool other_units);
  void status();
  void status_round();
  void client_round();
  void client_task();
  void watch_partners();
  void begin_connection();
  void exchange_versions();
  void ask_structure_label();
  void ask_localization_label();
  void ask_transfer();
  void transfer_pool();
  void activate();
  void answer_activation();
  void connected();

  // implement_orders.cpp: the task controller's work
  void order(unsigned command, unsigned element, unsigned ddi, std::int64_t value);
  void pump();
  void pump_next(std::uint64_t serial);
  void take_order(const Order& order, TimeNs stamp);
  void take_set_value(const Order& order, TimeNs stamp);
  void acknowledge(const Order& order, unsigned errors, Then heard = {});
  void request_all();
  void start_task();
  void stop_task();
  void set_up_measurements();
  void command_sections(std::uint32_t mask);
  void set_rate(std::size_t meter, double raw);
  void request_totals();
  void round_of_requests();
  unsigned set_command() const { return spec_.v4() ? kSetAndAcknowledge : kValue; }
  unsigned priority_of(unsigned command) const;

  World& world_;
  const ImplementSpec& spec_;
  Controller& client_;
  Controller& controller_;
  Random random_;
  Drill drill_;
  Pool pool_;
  ElementNumbers numbers_;
  std::vector<Variable> variables_;
  std::vector<std::int64_t> totals_sent_, totals_true_;
  std::vector<std::optional<std::int64_t>> frozen_;
  std::deque<Order> orders_;
  std::uint64_t order_serial_ = 0;
  bool order_open_ = false;
  std::uint32_t life_ = 0;  // of the connection: what belongs to an older one is dropped
  bool announced_ = false, connecting_ = false, connected_ = false, stored_ = false, refused_ = false;
  bool task_ = false, echo_ = false, automatic_ = false;
  bool status_waits_ = false;
  bool told_task_ = false;  // what the client's last task message said
  unsigned busy_command_ = 0;
  bool busy_ = false;
  std::uint32_t section_mask_ = 0;
  std::vector<double> set_rates_;
  TimeNs status_heard_ = 0, client_heard_ = 0, last_status_ = -kMinute;
  ImplementTruth truth_;
};

}  // namespace tramlog::stage
