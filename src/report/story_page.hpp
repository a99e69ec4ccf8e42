// The section "WHAT HAPPENED, IN ORDER" of the report for people.
#pragma once

#include "exam/conclusions.hpp"
#include "report/page.hpp"

namespace tramlog {

void story_page(Page& page, const Conclusions& all);

}  // namespace tramlog
