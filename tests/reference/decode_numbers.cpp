// Number forms on the line against tests/reference/data/serial_and_nr_formats.csv: NR1, NR2 and NR3 of IEEE
// 488.2 sections 8.7.2 to 8.7.4 as quoted in public instrument guides; rows marked "constructed" are test
// vectors only.
#include <doctest/doctest.h>

#include "drivers/decode/decoder.hpp"
#include "drivers/decode/number.hpp"
#include "tests/reference/csv_rows.hpp"

using namespace tallystick;
using namespace tallystick::decode;

namespace {

std::string with_control_characters(std::string text) {
  for (const auto& [shown, byte] : {std::pair{"<CR>", "\r"}, {"<LF>", "\n"}, {"<SP>", " "}}) {
    for (auto at = text.find(shown); at != std::string::npos; at = text.find(shown))
      text.replace(at, 4, byte);
  }
  return text;
}

/// A decoder for whatever the rows of the table hold: blanks, channel, comma, sign, digits, unit.
Decoder line_decoder() {
  auto read = read_dialect(R"(name = "table"
[frame]
cut_by = "terminator"
terminator = "\r"
[value]
pattern = '\n?(?:(?P<channel>\d{2}A|\d,))? *(?P<sign>[+-])?(?P<value>\d+\.\d+)(?: (?P<unit>[a-z]+))?'
[unit]
unit = "mm"
in_frame = true
map = { "mm" = "mm", "in" = "in" }
[talk]
speaks = "pushed"
)",
                           "table");
  REQUIRE(read);
  return Decoder(std::make_shared<const Dialect>(*std::move(read)));
}

const reference::Row& row_of(const std::vector<reference::Row>& rows, const std::string& text) {
  for (const auto& row : rows) {
    if (row.at("text_shown_with_control_names") == text) return row;
  }
  FAIL("the table has no row " << text);
  return rows.front();
}

}  // namespace

TEST_CASE("NR1, NR2 and NR3 rows are read exactly") {
  int read_rows = 0;
  for (const auto& row : reference::rows("serial_and_nr_formats.csv")) {
    const std::string& form = row.at("case");
    if (!form.starts_with("NR")) continue;
    const std::string& text = row.at("text_shown_with_control_names");
    Number number;
    const NumberForm with_exponent{'.', 0, true};
    const auto refusal = read_number({}, text, with_exponent, number);
    // Values beyond 40 digits cannot be held, and are refused rather than shortened.
    const std::string& value = row.at("value");
    if (value.find('E') != std::string::npos) {
      if (refusal) {
        CHECK_MESSAGE(refusal->reason == RefusalReason::out_of_range, text);
      } else {
        CHECK_MESSAGE(number.plain.view() == "9900000000000000000000000000000000000", text);
      }
      continue;
    }
    REQUIRE_MESSAGE(!refusal, text);
    CHECK_MESSAGE(number.plain.view() == value, text);
    ++read_rows;
    if (text.find('E') == std::string::npos) continue;
    const auto undeclared = read_number({}, text, {}, number);
    REQUIRE(undeclared);
    CHECK(undeclared->reason == RefusalReason::not_a_number);
  }
  CHECK(read_rows >= 8);
}

TEST_CASE("9.91E37 is not a measurement") {
  const auto rows = reference::rows("serial_and_nr_formats.csv");
  CHECK(row_of(rows, "9.91E37").at("value") == "not a measurement");
  auto read = read_dialect(
      "name = \"nr3\"\n[frame]\ncut_by = \"terminator\"\nterminator = \"\\n\"\n[value]\npattern = "
      "'(?P<value>[+-]?\\d+\\.\\d+E\\d+)'\nexponent = true\nno_value = "
      "[\"9.91E37\"]\n[unit]\nunit = \"mm\"\n[talk]\nspeaks = \"pushed\"\n",
      "nr3");
  REQUIRE(read);
  Decoder decoder(std::make_shared<const Dialect>(*std::move(read)));
  const auto events = decoder.feed("9.91E37\n", Stamp{});
  REQUIRE(events.size() == 1);
  REQUIRE(events[0].refusal());
  CHECK(events[0].refusal()->reason == RefusalReason::out_of_range);
}

TEST_CASE("serial lines: values, units, channels, and what is rejected") {
  int values = 0, rejected = 0;
  for (const auto& row : reference::rows("serial_and_nr_formats.csv")) {
    const std::string& source = row.at("status");
    if (source != "constructed for testing" && source != "from memory") continue;
    const std::string bytes = with_control_characters(row.at("text_shown_with_control_names"));
    Decoder decoder = line_decoder();
    auto events = decoder.feed(bytes, Stamp{});
    REQUIRE_MESSAGE(!events.empty(), row.at("case"));
    const std::string& expected = row.at("value");
    if (expected.starts_with("reject")) {
      CHECK_MESSAGE(events[0].refusal() != nullptr, row.at("case"));
      ++rejected;
      continue;
    }
    const Decoded* const decoded = events[0].decoded();
    REQUIRE_MESSAGE(decoded != nullptr, row.at("case"));
    // "12.345", "12.345 mm", "channel 01A value 12.345": the last number is the value; a zero is 0 whatever
    // its digits.
    const auto number_end = expected.find_last_of("0123456789") + 1;
    const auto number_begin = expected.find_last_of(' ', number_end - 1);
    const std::string number =
        expected.substr(number_begin == std::string::npos ? 0 : number_begin + 1,
                        number_end - (number_begin == std::string::npos ? 0 : number_begin + 1));
    CHECK_MESSAGE(decoded->quantity == *Quantity::parse(number, decoded->quantity.unit()), row.at("case"));
    if (number != "0") CHECK_MESSAGE(decoded->value_text == number, row.at("case"));
    if (expected.ends_with(" in")) CHECK(decoded->quantity.unit().name() == "in");
    if (expected.starts_with("channel")) {
      REQUIRE(decoded->channel);
      CHECK(expected.find("channel " + decoded->channel->substr(0, decoded->channel->find(',')) + " ") == 0);
    }
    ++values;
  }
  CHECK(values >= 8);
  CHECK(rejected >= 5);
}
