// Numbers as IEEE 488.2 writes them, several in a reply, with suffixes.
#include <doctest/doctest.h>

#include "drivers/decode/decoder.hpp"
#include "drivers/decode/numeric_reply.hpp"

using namespace tallystick;
using namespace tallystick::decode;

namespace {

std::string toml(const std::string& numbers, const std::string& unit = "[unit]\nunit = \"mm\"\n") {
  return "name = \"n\"\n[frame]\ncut_by = \"terminator\"\nterminator = \"\\n\"\n[numbers]\n" + numbers + unit +
         "[talk]\nspeaks = \"asked\"\n[ask]\nrequest = \"R\\n\"\n";
}

std::string said(const std::string& how, const std::string& line) {
  auto read = read_dialect(how, "n");
  if (!read) MESSAGE(text(read.error().front()));
  REQUIRE(read.has_value());
  Decoder decoder(std::make_shared<const Dialect>(*std::move(read)));
  const auto events = decoder.feed(line + "\n", Stamp{});
  REQUIRE(events.size() == 1);
  if (const auto* refusal = events[0].refusal()) return std::string(name(refusal->reason));
  const auto& decoded = *events[0].decoded();
  return decoded.value_text + " " + std::string(decoded.quantity.unit().name()) +
         (decoded.unit_in_frame ? " said" : "");
}

std::string fault(const std::string& how) {
  const auto read = read_dialect(how, "n");
  if (read) return "sound";
  CHECK_FALSE(read.error().front().hint.empty());
  return read.error().front().code;
}

}  // namespace

TEST_CASE("the chosen one of several numbers, and no reply with another count") {
  const auto second = toml("fields = 3\nfield = 2\n");
  CHECK(said(second, "1,25.002,0.5") == "25.002 mm");
  CHECK(said(second, "1, +2.5002E1 ,0.5") == "25.002 mm");
  CHECK(said(second, "1,25.002") == "not_mine");
  CHECK(said(second, "1,25.002,0.5,7") == "not_mine");
  CHECK(said(second, "1,25.002,ON") == "not_mine");
  CHECK(said(second, "1,,0.5") == "not_mine");
  CHECK(said(second, "1,25.002 MM,0.5") == "not_mine");  // no suffix was declared
  CHECK(said(toml(""), "25.002") == "25.002 mm");
  CHECK(said(toml(""), "-113,\"Undefined header\"") == "not_mine");
}

TEST_CASE("what is no number is none") {
  for (const auto* line : {"", "+", ".", "E5", "1E", "1.2.3", "1 2", "--1", "0x10", "1,", "NAN", "1E5E5", "1E+"}) {
    CAPTURE(line);
    const auto found = said(toml(""), line);
    CHECK((found == "not_mine" || found == "not_a_number"));
  }
}

TEST_CASE("a suffix names the unit; its letters may be small") {
  const auto optional = toml("suffix = \"optional\"\n");
  CHECK(said(optional, "25.002") == "25.002 mm");
  CHECK(said(optional, "25.002 MM") == "25.002 mm said");
  CHECK(said(optional, "25002UM") == "25002 um said");
  CHECK(said(optional, "2.5002E+04 um") == "25002 um said");
  CHECK(said(optional, "0.025002 M") == "0.025002 m said");
  CHECK(said(optional, "0.98433 in") == "0.98433 in said");
  CHECK(said(optional, "1 MHZ") == "unknown_unit");  // mega by the standard's exception, not milli
  CHECK(said(optional, "1 LY") == "unknown_unit");
  const auto needed = toml("suffix = \"needed\"\n", "");
  CHECK(said(needed, "25.002") == "unknown_unit");
  CHECK(said(needed, "25.002 MM") == "25.002 mm said");
  const auto own = toml("suffix = \"optional\"\n", "[unit]\nunit = \"mm\"\nin_frame = true\nmap = { \"MIL\" = \"thou\" }\n");
  CHECK(said(own, "3 MIL") == "3 thou said");
  CHECK(said(own, "3 UM") == "3 um said");
}

TEST_CASE("9.9E37 is infinity and 9.91E37 not a number, however they are written; their neighbours are numbers") {
  // SCPI-99 volume 1, 7.2.1, from memory; 9.91E37 also in tests/reference/data/serial_and_nr_formats.csv.
  for (const auto* text : {"9.91E37", "+9.91E+37", "9.910000E+37", "991E35", "0.0991E39", "99.1e36",
                           "99100000000000000000000000000000000000"})
    CHECK_MESSAGE(no_number(text) == NoNumber::not_a_number, text);
  for (const auto* text : {"9.9E37", "-9.9E37", "+9.900000E+37", "99E36"})
    CHECK_MESSAGE(no_number(text) == NoNumber::infinity, text);
  for (const auto* text : {"9.91E36", "9.91E38", "9.91", "9.912E37", "9.8E37", "0", "9.91E-37", "-0.0E37"})
    CHECK_MESSAGE(no_number(text) == NoNumber::it_is_one, text);
  CHECK(said(toml(""), "9.91E37") == "out_of_range");
  CHECK(said(toml(""), "-9.9E37") == "out_of_range");
  CHECK(said(toml(""), "9.8E37") == "out_of_range");  // a number, but none that a length can hold
}

TEST_CASE("every suffix of the table is a unit of ours") {
  for (const auto& one : unit_suffixes()) CHECK_MESSAGE(Unit::named(one.unit).has_value(), one.text);
}

TEST_CASE("what [numbers] has wrong is told with the remedy") {
  CHECK(fault(toml("fields = 2\nfield = 3\n")) == "contradiction");
  CHECK(fault(toml("fields = 0\n")) == "wrong_value");
  CHECK(fault(toml("suffix = \"always\"\n")) == "wrong_value");
  CHECK(fault(toml("suffix = \"needed\"\n")) == "contradiction");
  CHECK(fault(toml("suffix = \"optional\"\n", "")) == "no_unit");
  CHECK(fault(toml("", "[unit]\nunit = \"mm\"\n[value]\npattern = '(?P<value>1)'\n")) == "contradiction");
  CHECK(fault(toml("", "[unit]\nunit = \"mm\"\n[value]\ndecimal_mark = \",\"\n")) == "contradiction");
}
