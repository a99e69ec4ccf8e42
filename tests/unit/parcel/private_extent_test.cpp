// What stands behind the known part of a message nobody looked at: it is blanked, its length kept.
#include <catch2/catch.hpp>

#include "parcel/private_rules.hpp"

using namespace tramlog;

namespace {

using Data = std::vector<std::uint8_t>;

Data bytes_of(const std::string& text) {
  return {text.begin(), text.end()};
}

Data said(Pgn pgn, Data data, const PrivateTerms& terms = {}) {
  PrivateRules rules;
  const std::size_t size = data.size();
  rules.rewrite({0, pgn, 0x80, 0xFF}, data, terms);
  CHECK(data.size() == size);
  return data;
}

std::string blank(std::size_t count) {
  return std::string(count, '\xFF');
}

}  // namespace

TEST_CASE("Text behind the known fields of an identification is blanked") {
  struct Case {
    Pgn pgn;
    std::string text, shown;
  };
  const Case cases[] = {
      {0xFEEC, "FIRSTVIN123456*SECONDVIN98765*", "??????????????*" + blank(15)},
      {0xFEEB, "Mk*Mod*SERA99887*UNIT*Mk2*Mod2*SERB77665*U2*", "Mk*Mod*?????????*UNIT*" + blank(22)},
      {0xFC8D, "PC-1*brand*model*fourth SN-1*", "????*brand*model*" + blank(12)},
      {0xFDC5, "part*SN-77*left*type*maker*hard*John's*", "part*?????*left*type*maker*hard*" + blank(7)},
      {0xFDC5, "part*SN-77*left*type*maker*hard", "part*?????*left*type*maker*hard"},
      {0xFDC5, "part*unknown*left*type*", "part*unknown*left*type*"},
  };
  for (const Case& one : cases) {
    INFO(one.text);
    PrivateTerms terms;
    CHECK(PrivateRules::learn({0, one.pgn, 0x80, 0xFF}, bytes_of(one.text), terms));
    terms.settle();
    const Data data = said(one.pgn, bytes_of(one.text), terms);
    REQUIRE(data.size() == one.shown.size());
    // Where "?" is expected there is a stand-in: none of the true text's letters.
    const std::string shown(data.begin(), data.end());
    for (std::size_t i = 0; i < shown.size(); ++i) {
      INFO(i << " of " << shown);
      if (one.shown[i] == '?')
        CHECK((shown[i] >= '0' && shown[i] <= '9'));
      else
        CHECK(shown[i] == one.shown[i]);
    }
    Data again = data;
    CHECK_FALSE(PrivateRules::replace_known({0, one.pgn, 0x80, 0xFF}, again, terms));
  }
}

TEST_CASE("Serials of units that are only named behind the known fields are learned") {
  PrivateTerms terms;
  CHECK(PrivateRules::learn({0, 0xFEEB, 0x80, 0xFF}, bytes_of("Mk*Mod*SERA99887*UNIT*Mk2*Mod2*SERB77665*U2*"),
                            terms));
  CHECK(PrivateRules::learn({0, 0xFEEC, 0x80, 0xFF}, bytes_of("FIRSTVIN123456*SECONDVIN98765*"), terms));
  for (const char* serial : {"SERA99887", "SERB77665", "FIRSTVIN123456", "SECONDVIN98765"})
    CHECK(terms.serials().contains(serial));
  CHECK_FALSE(terms.serials().contains("Mod2"));
}
