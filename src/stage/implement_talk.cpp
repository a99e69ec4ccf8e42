// Connection between client and task controller: status, labels, upload, activation (fact sheet, process
// data, 2, 3, 6.2).
#include <algorithm>

#include "stage/implement.hpp"
#include "stage/world.hpp"

namespace tramlog::stage {
namespace {

constexpr Pgn kProcessData = 0xCB00, kRequest = 0xEA00, kLanguage = 0xFE0F, kWorkingSetMaster = 0xFE0D;
constexpr unsigned kStatusPriority = 3, kCommandPriority = 5, kWorkingSetPriority = 7, kDefaultPriority = 6;
constexpr SpanNs kRound = 2 * kSecond, kStatusSpacing = 200 * kMillisecond, kPartnerLost = 6 * kSecond;
constexpr SpanNs kWatch = 100 * kMillisecond, kParsing = 250 * kMillisecond;
constexpr std::size_t kLargestTp = 1785;
constexpr unsigned kTaskRuns = 0x01, kBusy = 0x08;
constexpr unsigned kOptions = 0x11;  // totals and section control
constexpr std::uint8_t kPoolErrors = 0x01, kUnknownReference = 0x02;

}  // namespace

void Implement::from_controller(unsigned priority, const Frame& frame, Then heard) {
  if (!controller_.operational() || !client_.has_address()) return;
  const unsigned used = spec_.v4() ? priority : kStatusPriority;  // 1.1: before version 4 always 3
  controller_.send_message(used, kProcessData, client_.address(), frame,
                           [this, heard = std::move(heard), life = life_](const Sent& sent) {
                             if (sent.sent && heard && life == life_ && client_.hears()) heard();
                           });
}

void Implement::from_client(unsigned priority, const Frame& frame, Then heard) {
  if (!client_.operational() || !controller_.has_address()) return;
  const unsigned used = spec_.v4() ? priority : kStatusPriority;
  client_.send_message(used, kProcessData, controller_.address(), frame,
                       [this, heard = std::move(heard), life = life_](const Sent& sent) {
                         if (sent.sent && heard && life == life_ && controller_.hears()) heard();
                       });
}

void Implement::answer_later(Then then) {
  const SpanNs think = random_.between(3'000, 14'000) * kMicrosecond;
  world_.agenda.call_at(world_.now() + think, [this, life = life_, then = std::move(then)] {
    if (life == life_) then();
  });
}

void Implement::send_language(Controller& sender, bool other_units) {
  std::array<std::uint8_t, 8> language = spec_.language;
  if (other_units) language[4] = 0x55, language[5] = 0x01;  // imperial
  sender.send_message(kDefaultPriority, kLanguage, kGlobalAddress, Frame(language.begin(), language.end()));
}

void Implement::status() {
  if (!controller_.operational()) return;
  if (world_.now() - last_status_ < kStatusSpacing) {  // 2.2: on change, but not closer
    if (status_waits_) return;
    status_waits_ = true;
    world_.agenda.call_at(last_status_ + kStatusSpacing, [this] {
      status_waits_ = false;
      status();
    });
    return;
  }
  last_status_ = world_.now();
  const unsigned state = (task_ ? kTaskRuns : 0) | (busy_ ? kBusy : 0);
  const Frame frame =
      busy_ ? status_bytes(state, client_.address(), busy_command_) : status_bytes(state, 0, 0);
  const bool task = task_;
  controller_.send_message(kStatusPriority, kProcessData, kGlobalAddress, frame,
                           [this, task](const Sent& sent) {
                             if (!sent.sent || !client_.hears()) return;
                             status_heard_ = world_.now();
                             if (!connected_ || echo_ == task) return;
                             answer_later([this, task] {
                               if (task) drill_.reset_totals();
                               if (!task) automatic_ = false;
                               cancel_measurements();
                               echo_ = task;
                               if (!drill_.fault(Trouble::echo_missing, world_.now())) client_task();
                             });
                           });
}

void Implement::status_round() {
  const TimeNs now = world_.now();
  SpanNs wait = kRound;
  if (controller_.operational() && now >= controller_.operational_since() + spec_.start_wait) {
    if (last_status_ < 0) send_language(controller_, false);
    status();
    if (drill_.fault(Trouble::status_late, now)) wait = 4 * kSecond + 500 * kMillisecond;
  } else {
    wait = 100 * kMillisecond;
  }
  world_.agenda.call_at(now + wait, [this] { status_round(); });
}

void Implement::client_task() {
  if (const FaultSpec* lost = drill_.fault(Trouble::client_lost, world_.now());
      lost != nullptr && lost->how == kTaskMessage)
    return;
  told_task_ = echo_ && !drill_.fault(Trouble::echo_missing, world_.now());
  from_client(kStatusPriority, client_task_bytes(told_task_), [this] { client_heard_ = world_.now(); });
}

void Implement::client_round() {
  if (!announced_) return;
  client_task();
  world_.agenda.call_at(world_.now() + kRound, [this, life = life_] {
    if (life == life_) client_round();
  });
}

void Implement::watch_partners() {
  const TimeNs now = world_.now();
  world_.agenda.call_at(now + kWatch, [this] { watch_partners(); });
  const bool controller_there = status_heard_ > 0 && now - status_heard_ < kPartnerLost;
  if (announced_ && (!controller_there || !client_.operational() || now - client_heard_ > kPartnerLost)) {
    ++life_;
    announced_ = connecting_ = connected_ = echo_ = automatic_ = false;
    busy_ = order_open_ = false;
    orders_.clear();
    cancel_measurements();
    for (std::size_t i = 0; i < drill_.sections.size(); ++i) drill_.command_section(i, false, now);
    return;
  }
  if (!announced_ && controller_there && client_.operational() &&
      now >= client_.operational_since() + spec_.start_wait)
    begin_connection();
}

void Implement::begin_connection() {
  announced_ = connecting_ = true;
  client_heard_ = world_.now();
  client_.send_message(kWorkingSetPriority, kWorkingSetMaster, kGlobalAddress,
                       {1, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF}, [this, life = life_](const Sent& sent) {
                         if (!sent.sent || life != life_) return;
                         answer_later([this] {
                           client_round();
                           answer_later([this] { exchange_versions(); });
                         });
                       });
}

void Implement::exchange_versions() {
  const auto sections = static_cast<unsigned>(spec_.sections.size());
  from_client(kCommandPriority, descriptor_bytes(0x00, {}), [this, sections] {
    answer_later([this, sections] {
      const FaultSpec* fewer = drill_.fault(Trouble::fewer_sections, world_.now());
      const unsigned served = fewer == nullptr ? 255
                              : fewer->strength <= 0
                                  ? 4
                                  : static_cast<unsigned>(std::min(fewer->strength, 255.0));
      from_controller(kCommandPriority, version_bytes(spec_.tc_version, 5, kOptions, 1, served, 16));
      answer_later([this, sections] {
        from_controller(kCommandPriority, descriptor_bytes(0x00, {}), [this, sections] {
          answer_later([this, sections] {
            from_client(kCommandPriority, version_bytes(spec_.client_version, 0xFF, kOptions, 1, sections, 0),
                        [this] {
                          answer_later([this] {
                            client_.send_message(kDefaultPriority, kRequest, controller_.address(),
                                                 pgn_bytes(kLanguage));
                            if (Controller* terminal = world_.find(spec_.terminal);
                                terminal != nullptr && terminal->has_address())
                              client_.send_message(kDefaultPriority, kRequest, terminal->address(),
                                                   pgn_bytes(kLanguage));
                            world_.agenda.call_at(world_.now() + 120 * kMillisecond, [this, life = life_] {
                              if (life == life_) ask_structure_label();
                            });
                          });
                        });
          });
        });
      });
    });
  });
}

void Implement::ask_structure_label() {
  const auto label = [this](bool known) {
    Frame rest = known ? Frame(pool_.structure_label.begin(), pool_.structure_label.end()) : Frame(7, 0xFF);
    if (known) rest.insert(rest.end(), pool_.extended_label.begin(), pool_.extended_label.end());
    return rest;
  };
  const auto answered = [this] {
    answer_later([this] { stored_ ? ask_localization_label() : ask_transfer(); });
  };
  const auto answer = [this, label, answered] {
    const Frame frame = descriptor_bytes(0x11, label(stored_));
    if (frame.size() <= 8) return from_controller(kCommandPriority, frame, answered);
    TransferSpec transfer;
    transfer.pgn = kProcessData;
    transfer.carrier = Carrier::rts_cts;
    world_.desk.start(controller_.index(), client_.index(), transfer, frame,
                      [answered, this, life = life_](Outcome outcome, TimeNs) {
                        if (outcome == Outcome::complete && life == life_) answered();
                      });
  };
  const Frame question = descriptor_bytes(0x01, label(true));
  if (question.size() <= 8) {
    return from_client(kCommandPriority, question, [this, answer] { answer_later(answer); });
  }
  TransferSpec transfer;
  transfer.pgn = kProcessData;
  transfer.carrier = Carrier::rts_cts;
  world_.desk.start(client_.index(), controller_.index(), transfer, question,
                    [answer, this, life = life_](Outcome outcome, TimeNs) {
                      if (outcome == Outcome::complete && life == life_) answer_later(answer);
                    });
}

void Implement::ask_localization_label() {
  const Frame label(pool_.localization_label.begin(), pool_.localization_label.end());
  from_client(kCommandPriority, descriptor_bytes(0x21, label), [this, label] {
    answer_later([this, label] {
      from_controller(kCommandPriority, descriptor_bytes(0x31, label),
                      [this] { answer_later([this] { activate(); }); });
    });
  });
}

void Implement::ask_transfer() {
  Frame size;
  put_le(size, pool_.bytes.size(), 4);
  from_client(kCommandPriority, descriptor_bytes(0x41, size), [this] {
    answer_later([this] {
      const FaultSpec* refused = drill_.fault(Trouble::pool_refused, world_.now());
      const bool full = refused != nullptr && refused->how == "no-memory";
      from_controller(kCommandPriority, descriptor_bytes(0x51, {static_cast<std::uint8_t>(full ? 1 : 0)}),
                      [this, full] {
                        refused_ = full;
                        if (!full) answer_later([this] { transfer_pool(); });
                      });
    });
  });
}

void Implement::transfer_pool() {
  TransferSpec transfer;
  transfer.pgn = kProcessData;
  Frame message = {0x61};
  message.insert(message.end(), pool_.bytes.begin(), pool_.bytes.end());
  transfer.carrier = message.size() > kLargestTp ? Carrier::etp : Carrier::rts_cts;
  truth_.protocol = message.size() > kLargestTp ? "etp" : "rts-cts";
  busy_ = true;
  busy_command_ = 0x61;
  status();
  world_.desk.start(client_.index(), controller_.index(), transfer, message,
                    [this, life = life_](Outcome outcome, TimeNs) {
                      if (outcome != Outcome::complete || life != life_) return;
                      truth_.uploaded = true;
                      world_.agenda.call_at(world_.now() + kParsing, [this, life] {
                        if (life != life_) return;
                        busy_ = false;
                        status();
                        const FaultSpec* refused = drill_.fault(Trouble::pool_refused, world_.now());
                        const bool failed = refused != nullptr && refused->how == "transfer";
                        Frame rest = {static_cast<std::uint8_t>(failed ? 2 : 0)};
                        put_le(rest, pool_.bytes.size(), 4);
                        from_controller(kCommandPriority, descriptor_bytes(0x71, rest), [this, failed] {
                          refused_ = failed;
                          if (!failed) answer_later([this] { activate(); });
                        });
                      });
                    });
}

void Implement::activate() {
  from_client(kCommandPriority, descriptor_bytes(0x81, {0xFF}), [this] {
    busy_ = true;
    busy_command_ = 0x81;
    status();
    world_.agenda.call_at(world_.now() + kParsing, [this, life = life_] {
      if (life == life_) answer_activation();
    });
  });
}

void Implement::answer_activation() {
  busy_ = false;
  status();
  const FaultSpec* refused = drill_.fault(Trouble::pool_refused, world_.now());
  if (refused != nullptr) {
    // The DET of a section refers to something that the task controller does not find.
    Frame rest = {kPoolErrors};
    put_le(rest, 0, 2);
    put_le(rest, pool_.section_object_ids[refused->section - 1], 2);
    rest.push_back(kUnknownReference);
    return from_controller(kCommandPriority, descriptor_bytes(0x91, rest), [this] { refused_ = true; });
  }
  Frame rest = {0};
  put_le(rest, 0xFFFF, 2);
  put_le(rest, 0xFFFF, 2);
  rest.push_back(0);
  if (!client_.has_address() || !controller_.operational()) return;
  controller_.send_message(spec_.v4() ? kCommandPriority : kStatusPriority, kProcessData, client_.address(),
                           descriptor_bytes(0x91, rest), [this, life = life_](const Sent& sent) {
                             if (!sent.sent || life != life_ || !client_.hears()) return;
                             if (!truth_.activated_at) truth_.activated_at = sent.stamp;
                             connected();
                           });
}

void Implement::connected() {
  connected_ = true;
  connecting_ = false;
  stored_ = true;
  echo_ = task_;
  if (echo_) client_task();
  answer_later([this] {
    request_all();
    if (task_) set_up_measurements();
  });
}

}  // namespace tramlog::stage
