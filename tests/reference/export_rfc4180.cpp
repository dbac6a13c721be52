// RFC 4180 (Y. Shafranovich, October 2005, https://www.rfc-editor.org/rfc/rfc4180), section 2: its own
// examples, made by our writer and read by the test's strict reader.
#include <doctest/doctest.h>

#include "daemon/export/csv.hpp"
#include "tests/export/rfc4180_reader.hpp"

using tallystick::exporting::append_cell;
using tallystick::exporting::test::read_rfc4180;
using tallystick::exporting::test::Record;

namespace {

std::string line(const Record& cells) {
  std::string out;
  for (std::size_t index = 0; index < cells.size(); ++index) {
    if (index != 0) out += ',';
    append_cell(out, cells[index]);
  }
  return out + "\r\n";
}

}  // namespace

TEST_CASE("RFC 4180, section 2: the examples as they are printed there") {
  // Items 1 and 3: records on lines of their own, ended by CRLF, a header of the same form.
  CHECK(line({"aaa", "bbb", "ccc"}) == "aaa,bbb,ccc\r\n");
  CHECK(read_rfc4180("field_name,field_name,field_name\r\naaa,bbb,ccc\r\nzzz,yyy,xxx\r\n") ==
        std::vector<Record>{
            {"field_name", "field_name", "field_name"}, {"aaa", "bbb", "ccc"}, {"zzz", "yyy", "xxx"}});
  // Item 5: quotes round cells that need none are read alike.
  CHECK(read_rfc4180("\"aaa\",\"bbb\",\"ccc\"\r\nzzz,yyy,xxx\r\n") ==
        std::vector<Record>{{"aaa", "bbb", "ccc"}, {"zzz", "yyy", "xxx"}});
  // Item 6: a line break inside a cell.
  CHECK(line({"aaa", "b\r\nbb", "ccc"}) == "aaa,\"b\r\nbb\",ccc\r\n");
  CHECK(read_rfc4180("\"aaa\",\"b\r\nbb\",\"ccc\"\r\n") == std::vector<Record>{{"aaa", "b\r\nbb", "ccc"}});
  // Item 7: a quote inside a cell is doubled.
  CHECK(line({"aaa", "b\"bb", "ccc"}) == "aaa,\"b\"\"bb\",ccc\r\n");
  CHECK(read_rfc4180("\"aaa\",\"b\"\"bb\",\"ccc\"\r\n") == std::vector<Record>{{"aaa", "b\"bb", "ccc"}});
}

TEST_CASE("RFC 4180, section 2, item 4: blanks are part of a cell") {
  CHECK(line({" aaa ", "bbb"}) == " aaa ,bbb\r\n");
  CHECK(read_rfc4180(" aaa ,bbb\r\n") == std::vector<Record>{{" aaa ", "bbb"}});
}
