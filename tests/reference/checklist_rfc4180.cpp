// RFC 4180 (Y. Shafranovich, October 2005, https://www.rfc-editor.org/rfc/rfc4180), section 2: its examples
// as a size table's reader sees them.
#include <doctest/doctest.h>

#include "daemon/checklist/size_table.hpp"

using namespace tallystick;
using namespace tallystick::checklist;

namespace {

using Records = std::vector<std::vector<std::string>>;

Records records(std::string_view text) {
  const auto rows = read_csv(text);
  REQUIRE(rows);
  Records out;
  for (const auto& row : *rows) out.push_back(row.fields);
  return out;
}

}  // namespace

TEST_CASE("RFC 4180, section 2: the examples of a size table's reader") {
  // 1: each record on its own line.
  CHECK(records("aaa,bbb,ccc\r\nzzz,yyy,xxx\r\n") == Records{{"aaa", "bbb", "ccc"}, {"zzz", "yyy", "xxx"}});
  // 2: the last record may have no line break.
  CHECK(records("aaa,bbb,ccc\r\nzzz,yyy,xxx") == Records{{"aaa", "bbb", "ccc"}, {"zzz", "yyy", "xxx"}});
  // 3: a header of the same form.
  CHECK(records("field_name,field_name,field_name\r\naaa,bbb,ccc\r\n").size() == 2);
  // 4: spaces are part of a field.
  CHECK(records("aaa, bbb ,ccc") == Records{{"aaa", " bbb ", "ccc"}});
  // 5: each field may be in quotes.
  CHECK(records("\"aaa\",\"bbb\",\"ccc\"\r\nzzz,yyy,xxx") ==
        Records{{"aaa", "bbb", "ccc"}, {"zzz", "yyy", "xxx"}});
  // 5: a field without quotes holds none.
  CHECK_FALSE(read_csv("aaa,b\"bb,ccc"));
  // 6: line breaks, quotes and commas in a quoted field.
  CHECK(records("\"aaa\",\"b\r\nbb\",\"ccc\"\r\nzzz,yyy,xxx") ==
        Records{{"aaa", "b\r\nbb", "ccc"}, {"zzz", "yyy", "xxx"}});
  // 7: a quote in a quoted field is doubled.
  CHECK(records("\"aaa\",\"b\"\"bb\",\"ccc\"") == Records{{"aaa", "b\"bb", "ccc"}});
  CHECK(csv_line({"aaa", "b\"bb", "c,cc"}, "\r\n") == "aaa,\"b\"\"bb\",\"c,cc\"\r\n");
}
