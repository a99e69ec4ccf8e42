#include "exam/request_watch.hpp"

#include <algorithm>

namespace tramlog {

RequestWatch::Record* RequestWatch::record_of(const Pending& request) {
  for (Record& record : records_)
    if (record.party == request.party && record.pgn == request.pgn && record.address == request.to)
      return &record;
  if (records_.size() >= kMaxRecords) {
    ++not_kept_;
    return nullptr;
  }
  Record fresh;
  fresh.party = request.party;
  fresh.bus = request.bus;
  fresh.address = request.to;
  fresh.pgn = request.pgn;
  records_.push_back(fresh);
  return &records_.back();
}

void RequestWatch::take_request(BusIndex bus, Address by, Address to, Pgn pgn, const Party& party, Mark at) {
  // Asked again before its time was up: the patience begins anew.
  for (Pending& pending : pending_)
    if (pending.bus == bus && pending.by == by && pending.to == to && pending.pgn == pgn) {
      pending.at = at;
      return;
    }
  if (pending_.size() >= kMaxPending) {
    ++not_kept_;
    return;
  }
  pending_.push_back({&party, bus, by, to, pgn, at});
}

void RequestWatch::take_acknowledgement(BusIndex bus, Address from, const Acknowledgement& answer) {
  // Of several askers the one that is named, else the latest.
  auto found = pending_.rend();
  for (auto it = pending_.rbegin(); it != pending_.rend() && found == pending_.rend(); ++it)
    if (it->bus == bus && it->to == from && it->pgn == answer.pgn &&
        (!answer.acknowledged || *answer.acknowledged == it->by))
      found = it;
  if (found == pending_.rend()) return;
  if (Record* record = record_of(*found)) {
    ++record->asked;
    record->asker = found->by;
    if (answer.control >= 1 && answer.control <= 3) {
      ++record->refused[answer.control - 1];
      if (record->first.frame == 0) record->first = found->at;
      record->last = found->at;
    }
  }
  pending_.erase(std::next(found).base());
}

bool RequestWatch::answered(const Pending& request, const StreamTable& streams) const {
  const auto spoke = [&](Pgn pgn, Address destination) {
    const Stream* stream =
        streams.find(StreamTable::key_of(request.bus, make_id(0, pgn, request.to, destination)));
    return stream != nullptr && stream->last >= request.at.time;
  };
  // The group itself; or it opened a transfer, whose fate is told elsewhere.
  for (const Pgn pgn : {request.pgn, Pgn{0xEC00}, Pgn{0xC800}})
    if (spoke(pgn, request.by) || spoke(pgn, kGlobalAddress)) return true;
  return false;
}

void RequestWatch::advance(TimeNs now, const StreamTable& streams) {
  if (pending_.empty()) return;
  std::erase_if(pending_, [&](const Pending& request) {
    if (now - request.at.time < answer_ + kLossNotice) return false;
    const bool came = answered(request, streams);
    // Whoever says nothing at all may be gone: that is told as its silence.
    if (!came && request.party->last.time <= request.at.time) return true;
    if (Record* record = record_of(request)) {
      ++record->asked;
      record->asker = request.by;
      if (!came) {
        ++record->unanswered;
        if (record->first.frame == 0) record->first = request.at;
        record->last = request.at;
      }
    }
    return true;
  });
}

void RequestWatch::note_loss(BusIndex bus, TimeNs from, TimeNs to) {
  std::erase_if(pending_, [&](const Pending& request) {
    return request.bus == bus && request.at.time <= to && request.at.time + answer_ >= from;
  });
}

void RequestWatch::rename(const Party& from, const Party& to) {
  for (Pending& pending : pending_)
    if (pending.party == &from) pending.party = &to;
  for (Record& record : records_)
    if (record.party == &from) record.party = &to;
}

}  // namespace tramlog
