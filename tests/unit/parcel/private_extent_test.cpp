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

TEST_CASE("Bytes behind the defined ones are blanked, and no others") {
  struct Case {
    Pgn pgn;
    Data data, shown;
  };
  const auto text = [](Data data, const std::string& behind) {
    data.insert(data.end(), behind.begin(), behind.end());
    return data;
  };
  const Data numbers{1, 2, 3, 4, 5, 6, 7, 8};
  const Case cases[] = {
      {0xEA00, text({0xDA, 0xFE, 0}, "Smith"), text({0xDA, 0xFE, 0}, blank(5))},
      {0xFE0D, text({2}, "SMITH77"), text({2}, blank(7))},
      {0xF004, numbers, numbers},
      {0xF004, text(numbers, "Smith"), text(numbers, blank(5))},
      {129026, text(numbers, "Smith"), text(numbers, blank(5))},
      {0xFEE3, Data(39, 7), Data(39, 7)},
      // A heartbeat, and frames of a longer message with its number.
      {126993, {0x60, 0xEA, 7, 0xC5, 0xFF, 0xFF, 0xFF, 0xFF}, {0x60, 0xEA, 7, 0xC5, 0xFF, 0xFF, 0xFF, 0xFF}},
      {126993, text({0x20, 23}, "Smith!"), text({}, blank(8))},
      {126993, text({0x23}, "abc\xFF\xFF\xFF\xFF"), text({}, blank(8))},
      {126464, text({0, 0x00, 0xEE, 0x01, 0x01, 0xF8, 0x01}, "Smi"),
       text({0, 0x00, 0xEE, 0x01, 0x01, 0xF8, 0x01}, blank(3))},
      {0xFC8E, text({0xFF, 1, 8, 1, 1, 0x20}, "Smith"), text({0xFF, 1, 8, 1, 1, 0x20}, blank(5))},
      {0xFC8E, text({0xFF, 1, 8, 1, 100}, std::string(100, 'S')), text({0xFF, 1}, blank(103))},
  };
  for (const Case& one : cases) {
    INFO(one.pgn << ' ' << one.data.size());
    CHECK(said(one.pgn, one.data) == one.shown);
  }
}

TEST_CASE("Trouble codes stay, text among them does not") {
  const Data one{0x04, 0xFF, 158, 0, 4, 1, 0xFF, 0xFF};
  CHECK(said(0xFECA, one) == one);
  // Lamps, 158/4, a maker's 516200/19, the same with the old order told: codes end here.
  const Data codes{0x04, 0xFF, 158, 0, 4, 1, 0x68, 0xE0, 0xF3, 2, 0x9E, 0x00, 0x04, 0x81};
  CHECK(said(0xFECA, codes) == codes);
  CHECK(said(0xFECB, codes) == codes);
  for (const std::string& words :
       {std::string("John Smith, SN99887"), std::string("Ott"), std::string("M\xFCll")}) {
    INFO(words);
    Data data = codes;
    data.insert(data.end(), words.begin(), words.end());
    Data shown = codes;
    shown.insert(shown.end(), words.size(), 0xFF);
    CHECK(said(0xFECA, data) == shown);
  }
}
