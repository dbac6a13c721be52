// What a dialect's text may say, and what it is told when it is wrong.
#include <doctest/doctest.h>

#include <string>

#include "drivers/decode/decoder.hpp"

using namespace tallystick;

namespace {

const std::string good = R"(name = "try"
[port]
baud = 9600
[frame]
cut_by = "terminator"
terminator = "\r"
[value]
pattern = '(?P<value>\d+)'
[unit]
unit = "mm"
[talk]
speaks = "pushed"
)";

std::string with(std::string from, const std::string& to, std::string text = good) {
  const auto at = text.find(from);
  REQUIRE(at != std::string::npos);
  return text.replace(at, from.size(), to);
}

/// The only fault of a text, as "code@line".
Error only_fault(const std::string& toml) {
  const auto read = read_dialect(toml, "try.dialect.toml");
  REQUIRE_MESSAGE(!read.has_value(), toml);
  for (const auto& fault : read.error()) INFO(text(fault));
  REQUIRE_MESSAGE(read.error().size() == 1, text(read.error().front()), " / ", text(read.error().back()));
  const Error& fault = read.error().front();
  CHECK(!fault.what.empty());
  CHECK(!fault.hint.empty());
  CHECK(fault.where.starts_with("try.dialect.toml:"));
  return fault;
}

std::string code_at(const std::string& toml) {
  const auto fault = only_fault(toml);
  return fault.code + "@" + fault.where.substr(fault.where.rfind(':') + 1);
}

}  // namespace

TEST_CASE("a good text gives a dialect with the defaults that the manual names") {
  const auto read = read_dialect(good, "try.dialect.toml");
  REQUIRE(read);
  CHECK(read->name == "try");
  CHECK(read->port.baud == 9600);
  CHECK(read->port.data_bits == 8);
  CHECK(read->port.parity == Parity::none);
  CHECK(read->port.rts == LineSignal::leave);
  CHECK(read->framing.longest == 256);
  CHECK(read->framing.idle_gap == read->port.character_time() * 7 / 2);
  CHECK(read->framing.open_gap == std::chrono::milliseconds(20));
  CHECK(read->framing.give_up == std::chrono::milliseconds(250));
  CHECK(read->speaks == Speaks::pushed);
  CHECK(read->silent_after.count() == 0);
  CHECK(!read->ask);
  CHECK(read->unit->name() == "mm");
  CHECK(!read->carries_channel);
}

TEST_CASE("each kind of fault has its code, its line and a remedy") {
  CHECK(code_at("name = \n") == "not_toml@1");
  CHECK(code_at(with("baud", "bauds")) == "unknown_key@3");
  CHECK(only_fault(with("baud", "bauds")).hint == "did you mean \"baud\"?");
  CHECK(only_fault(with("[talk]\nspeaks", "[talk]\nspeak = \"x\"\nspeaks")).hint ==
        "did you mean \"speaks\"?");
  CHECK(code_at(with("9600", "\"9600\"")) == "wrong_type@3");
  CHECK(code_at(with("9600", "1")) == "wrong_value@3");
  CHECK(code_at(with("9600", "9600\nparity = \"evn\"")) == "wrong_value@4");
  CHECK(only_fault(with("9600", "9600\nparity = \"evn\"")).hint == "did you mean \"even\"?");
  CHECK(code_at(with("name = \"try\"", "name = \"Try it\"")) == "wrong_value@1");
  CHECK(code_at(with("name = \"try\"\n", "")) == "missing_key@1");
  CHECK(code_at(with("cut_by = \"terminator\"\n", "")) == "missing_key@4");
  CHECK(code_at(with("terminator = \"\\r\"\n", "")) == "missing_key@5");
  CHECK(code_at(with("terminator = \"\\r\"", "terminator = \"\"")) == "wrong_value@6");
  CHECK(code_at(with("terminator = \"\\r\"", "terminator = \"\\u00b5\"")) == "wrong_value@6");
  CHECK(code_at(with("terminator = \"\\r\"", "terminator = { hex = \"0\" }")) == "wrong_value@6");
  CHECK(code_at(with("terminator = \"\\r\"", "terminator = \"\\r\"\nlength = 5")) == "contradiction@7");
  CHECK(code_at(with("(?P<value>\\d+)", "(?P<value>\\d+")) == "bad_pattern@8");
  CHECK(code_at(with("(?P<value>\\d+)", "\\d+")) == "bad_pattern@8");
  CHECK(code_at(with("(?P<value>\\d+)", "(?P<number>\\d+)")) == "bad_pattern@8");
  CHECK(code_at(with("(?P<value>\\d+)", "(?P<value>\\d+)(?P<status>A)")) == "contradiction@8");
  CHECK(code_at(with("(?P<value>\\d+)", "(?P<value>\\d+)(?P<unit>A)")) == "contradiction@8");
  CHECK(code_at(with("pattern = '(?P<value>\\d+)'\n", "")) == "missing_key@7");
  CHECK(code_at(with("unit = \"mm\"\n", "")) == "no_unit@9");
  CHECK(code_at(with("unit = \"mm\"", "unit = \"milimetre\"")) == "unknown_unit@10");
  CHECK(code_at(with("unit = \"mm\"", "unit = \"mm\"\nin_frame = true")) == "missing_key@11");
  CHECK(code_at(with("unit = \"mm\"", "unit = \"mm\"\nin_frame = true\nmap = { \"mm\" = \"mm\" }")) ==
        "contradiction@9");
  CHECK(code_at(with("speaks = \"pushed\"\n", "")) == "missing_key@11");
  CHECK(code_at(with("\"pushed\"", "\"pushes\"")) == "wrong_value@12");
  CHECK(code_at(with("\"pushed\"", "\"pushed\"\nsilent_after_ms = 5000")) == "contradiction@13");
  CHECK(code_at(with("\"pushed\"", "\"asked\"")) == "missing_key@11");
  CHECK(code_at(good + "[ask]\nrequest = \"?\"\n") == "contradiction@13");
  CHECK(code_at(good + "[status]\nmap = { \"A\" = \"okay\" }\n") == "wrong_value@14");
  CHECK(code_at(good + "[checksum]\nkind = \"xor\"\n") == "wrong_value@14");
  CHECK(code_at(good + "[checksum]\nkind = \"sum\"\nplace = \"after_end\"\n") == "contradiction@15");
  CHECK(code_at(good + "[columns]\nwidth = 5\nvalue = { at = 1, width = 5 }\n") == "contradiction@8");
}

TEST_CASE("no text ends the program: what is not TOML is a fault with its line") {
  for (const auto* text : {"[ .x]", "[ \xF0\x9F\x98\x80]", "\xC3\xA4 = 1", "\xD2\x91", "a = [", "a = 'b",
                           "a = 1e", "\xFF", "[[[", "a.b = 1\na = 2", "= 1", "a = 99999999999999999999"}) {
    const auto read = read_dialect(text, "f");
    REQUIRE_MESSAGE(!read, text);
    CHECK_MESSAGE(read.error().front().code == "not_toml", text);
    CHECK(read.error().front().where.starts_with("f:"));
  }
}

TEST_CASE("columns are checked against their width and each other") {
  const auto columns = [](const std::string& inside) {
    return with("pattern = '(?P<value>\\d+)'\n", "", good) + "[columns]\n" + inside;
  };
  CHECK(read_dialect(columns("width = 8\nvalue = { at = 1, width = 8 }\n"), "f").has_value());
  CHECK(code_at(columns("width = 8\nvalue = { at = 2, width = 8 }\n")) == "contradiction@14");
  CHECK(code_at(columns("width = 8\nvalue = { at = 2, width = 7 }\nsign = { at = 2, width = 1 }\n")) ==
        "contradiction@15");
  CHECK(code_at(columns("width = 8\nvalue = { at = 0, width = 7 }\n")) == "wrong_value@14");
  CHECK(code_at(columns("width = 8\n")) == "missing_key@12");
}

TEST_CASE("all faults of a text are told at once, in the order of its lines") {
  const auto read = read_dialect(
      "name = \"T\"\n[port]\nbaud = 5\nparitty = \"even\"\n[frame]\ncut_by = \"gap\"\n[unit]\nunit = \"m "
      "m\"\n[vlaue]\n",
      "f.toml");
  REQUIRE(!read);
  std::vector<int> lines;
  for (const auto& fault : read.error())
    lines.push_back(std::stoi(fault.where.substr(fault.where.rfind(':') + 1)));
  CHECK(lines.size() >= 8);
  CHECK(std::is_sorted(lines.begin(), lines.end()));
}

TEST_CASE("character times: start bit, data, parity, stop bits") {
  // 11 bits at 9600 baud: 1145.833 us; modbus_rtu_timing.csv of tests/reference/data checks the others.
  PortSettings port;
  port.baud = 9600;
  port.parity = Parity::even;
  CHECK(port.character_time().count() == 1'145'833);
  port.parity = Parity::none;
  CHECK(port.character_time().count() == 1'041'666);
}
