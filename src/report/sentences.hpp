// What the report for people says line by line, without its layout: the text and the HTML report have the
// same words.
#pragma once

#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "exam/conclusions.hpp"

namespace tramlog {

using LabelledText = std::pair<std::string, std::string>;

/// "a, b, c".
std::string joined(const std::vector<std::string>& texts);
/// The software texts, or why there are none.
std::string software_words(const ControllerRecord& controller);
/// Who, since when, for how long, what was missed, how it came back.
std::string dropout_words(const Conclusions& all, const Dropout& dropout);
/// Times of one bus in which the recorder was blind, put together where they overlap; without what a slice
/// left out on purpose and what has no length. By time.
std::vector<BlindSpan> unheard(const BusSummary& bus);
/// Frames, load, bit rate of one bus.
std::string bus_words(const BusSummary& bus);
/// A voice that never claimed, with the address in front.
std::string unclaimed_words(const Conclusions& all, const UnclaimedRecord& voice);
/// Protocol and how its transfers went, only of protocols that were used.
std::vector<LabelledText> transfer_lines(const Conclusions& all);
/// What is known of one controller: "NAME", "address", "heard", "silence", "software", ..
std::vector<LabelledText> controller_lines(const Conclusions& all, std::size_t controller);

}  // namespace tramlog
