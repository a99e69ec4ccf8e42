#include "isobus/transfer_session.hpp"

namespace tramlog {
namespace {
constexpr std::size_t kKeptBuffer = 2048;  // a free slot keeps a buffer for any TP message, and no larger one
}

TransferSession* SessionTable::find(SessionKey key) {
  const auto found = by_key_.find(key);
  return found == by_key_.end() ? nullptr : found->second;
}

TransferSession& SessionTable::add(SessionKey key, const TransferEnd& facts, std::uint32_t packets) {
  if (free_.empty()) {
    slots_.push_back(std::make_unique<TransferSession>());
    free_.push_back(slots_.back().get());
  }
  TransferSession& session = *free_.back();
  free_.pop_back();
  std::vector<std::uint8_t> buffer = std::move(session.payload);
  session = TransferSession{};
  session.payload = std::move(buffer);
  session.key = key;
  session.facts = facts;
  session.packets = packets;
  session.heard.reset(packets);

  session.keeps_payload = facts.bytes_expected <= limits_.message_bytes &&
                          facts.bytes_expected <= limits_.total_bytes - payload_bytes_;
  if (session.keeps_payload) {
    session.payload.resize(facts.bytes_expected);
    payload_bytes_ += session.payload.size();
  }
  by_key_.emplace(key, &session);
  link(session);
  return session;
}

void SessionTable::remove(TransferSession& session) {
  unlink(session);
  by_key_.erase(session.key);
  if (session.keeps_payload) payload_bytes_ -= session.payload.size();
  if (session.payload.capacity() > kKeptBuffer) std::vector<std::uint8_t>().swap(session.payload);
  free_.push_back(&session);
}

void SessionTable::moved(TransferSession& session) {
  unlink(session);
  link(session);
}

TransferSession* SessionTable::next_due() const {
  TransferSession* a = lists_[0].oldest;
  TransferSession* b = lists_[1].oldest;
  if (!a || !b) return a ? a : b;
  return b->deadline() < a->deadline() ? b : a;
}

TransferSession* SessionTable::oldest() const {
  TransferSession* a = lists_[0].oldest;
  TransferSession* b = lists_[1].oldest;
  if (!a || !b) return a ? a : b;
  return b->facts.end < a->facts.end ? b : a;
}

void SessionTable::link(TransferSession& session) {
  List& list = list_of(session);
  session.older = list.newest;
  session.newer = nullptr;
  (list.newest ? list.newest->newer : list.oldest) = &session;
  list.newest = &session;
}

void SessionTable::unlink(TransferSession& session) {
  List& list = list_of(session);
  (session.older ? session.older->newer : list.oldest) = session.newer;
  (session.newer ? session.newer->older : list.newest) = session.older;
}

}  // namespace tramlog
