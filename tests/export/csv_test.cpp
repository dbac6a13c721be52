#include <doctest/doctest.h>

#include <rapidcheck.h>

#include "daemon/export/csv.hpp"
#include "daemon/export/json_lines.hpp"
#include "tests/export/rfc4180_reader.hpp"

using namespace tallystick::exporting;
using tallystick::exporting::test::read_rfc4180;

namespace {

std::string written(std::string_view cell) {
  std::string out;
  append_cell(out, cell);
  return out;
}

// Where a careless reader that was set to `separator`, and knows nothing of quotes, sees cells in one written
// line.
std::vector<std::string> careless_cells(const std::string& line, char separator) {
  std::vector<std::string> out(1);
  for (const char letter : line) {
    if (letter == separator || letter == '\n' || letter == '\r') {
      out.emplace_back();
    } else {
      out.back() += letter;
    }
  }
  return out;
}

bool runs_as_formula(std::string cell) {
  while (!cell.empty() && (cell.front() == '"' || cell.front() == ' ')) cell.erase(0, 1);
  if (cell.empty() || is_decimal(cell)) return false;
  return std::string_view("=+-@\t\r").find(cell.front()) != std::string_view::npos;
}

// Cells that are thick with what matters.
rc::Gen<std::string> nasty_cell() {
  return rc::gen::map(
      rc::gen::container<std::vector<std::string>>(rc::gen::elementOf(std::vector<std::string>{
          "=", "+", "-", "@", "'",        "\"",           ";",        ",",        "\t", "\r", "\n",
          " ", "1", ".", "a", "\xc3\xa4", "\xef\xbc\x9d", "\xc2\xa0", "\xef\xbc", "|",  "0"})),
      [](const std::vector<std::string>& parts) {
        std::string out;
        for (const auto& part : parts) out += part;
        return out;
      });
}

}  // namespace

TEST_CASE("cells are quoted as RFC 4180 asks, and no others") {
  CHECK(written("") == "");
  CHECK(written("bore") == "bore");
  CHECK(written("25.011") == "25.011");
  CHECK(written("two words") == "two words");
  CHECK(written("a,b") == "\"a,b\"");
  CHECK(written("a \"deep\" chip") == "\"a \"\"deep\"\" chip\"");
  CHECK(written("line\r\nbreak") == "\"line\r\nbreak\"");
  CHECK(written("\xc3\xb8 25") == "\xc3\xb8 25");
}

TEST_CASE("numbers stay numbers") {
  for (const char* number : {"-0.012", "-1", "0", "25.0210001", "-25.400000000000"}) {
    CHECK(is_decimal(number));
    CHECK(written(number) == number);
  }
  for (const char* other : {"", "-", "-.5", "5.", "1e9", "+5", "--1", "-1-1", "1 ", " -1", "0x10", "-1.2.3"})
    CHECK_FALSE(is_decimal(other));
}

TEST_CASE("what a spreadsheet would run is made harmless") {
  // Common practice, no source: the characters that begin a formula, and the ways in which one is hidden.
  const std::pair<const char*, const char*> corpus[] = {
      {"=1+1", "'=1+1"},
      {"+1+1", "'+1+1"},
      {"-1+1", "'-1+1"},
      {"@SUM(A1)", "'@SUM(A1)"},
      {"=HYPERLINK(\"http://x\",\"y\")", "'=HYPERLINK(\"http://x\",\"y\")"},
      {"\"=1+1\"", "'\"=1+1\""},
      {" =1+1", "' =1+1"},
      {"\xc2\xa0=1", "'\xc2\xa0=1"},
      {"\xef\xbc\x9d"
       "1",
       "'\xef\xbc\x9d"
       "1"},
      {"+49 170 000", "'+49 170 000"},
      {"-", "'-"},
      {"a;=1+1", "a;'=1+1"},
      {"a\n=1+1", "a\n'=1+1"},
      {"a\t=1+1", "a\t'=1+1"},
      {"\t=1", "'\t'=1"},
      {"\r=1", "'\r'=1"},
      {"'=1", "''=1"},
      {"'", "''"},
      {"it's", "it's"},
      {"a=b", "a=b"},
      {"25 +0.021", "25 +0.021"},
      {"a - b", "a - b"},
      {"-0.012", "-0.012"},
      {"", ""},
  };
  for (const auto& [text, expected] : corpus) {
    CAPTURE(text);
    CHECK(harmless(text) == expected);
    CHECK(plain(harmless(text)) == text);
    CHECK(read_rfc4180(written(text) + "\r\n") == std::vector<test::Record>{{expected}});
  }
}

TEST_CASE("nothing that is written begins a formula, whatever separator the reader is set to") {
  CHECK(rc::check("no cell of any reader runs", [] {
    const auto cell = *nasty_cell();
    RC_ASSERT(!runs_as_formula(harmless(cell)));
    RC_ASSERT(!runs_as_formula(read_rfc4180(written(cell) + "\r\n").at(0).at(0)));
    for (const char separator : {';', '\t'})
      for (const auto& seen : careless_cells("x," + written(cell), separator))
        RC_ASSERT(!runs_as_formula(seen));
  }));
}

TEST_CASE("every text comes back byte for byte") {
  CHECK(rc::check("plain undoes harmless, and the reader undoes the quoting", [] {
    const auto cells = *rc::gen::container<std::vector<std::string>>(
        3, rc::gen::oneOf(nasty_cell(), rc::gen::string<std::string>()));
    std::string line;
    for (std::size_t index = 0; index < cells.size(); ++index) {
      if (index != 0) line += ',';
      append_cell(line, cells[index]);
    }
    const auto records = read_rfc4180(line + "\r\n");
    RC_ASSERT(records.size() == 1U);
    RC_ASSERT(records[0].size() == cells.size());
    for (std::size_t index = 0; index < cells.size(); ++index)
      RC_ASSERT(plain(records[0][index]) == cells[index]);
  }));
}

TEST_CASE("JSON strings: escapes, UTF-8, and what is no UTF-8") {
  const auto json = [](std::string_view text) {
    std::string out;
    append_json_string(out, text);
    return out;
  };
  CHECK(json("bore") == "\"bore\"");
  CHECK(json("a\"b\\c\n\r\t\x01") == "\"a\\\"b\\\\c\\n\\r\\t\\u0001\"");
  CHECK(json("\xc3\xb8 \xe2\x82\xac \xf0\x9f\x94\xa9") == "\"\xc3\xb8 \xe2\x82\xac \xf0\x9f\x94\xa9\"");
  // RFC 3629, section 10 and section 3: overlong forms, surrogates, beyond U+10FFFF, cut sequences.
  for (const char* broken : {"\xc0\x80", "\xed\xa0\x80", "\xf4\x90\x80\x80", "\xf8\x88\x80\x80"}) {
    const auto text = json(broken);
    CHECK(text.find("\xef\xbf\xbd") == 1);
    CHECK(text.find(broken) == std::string::npos);
  }
  CHECK(json("a\xe2\x82") == "\"a\xef\xbf\xbd\xef\xbf\xbd\"");
  CHECK(json("\xff") == "\"\xef\xbf\xbd\"");
}
