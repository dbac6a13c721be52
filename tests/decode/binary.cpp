// [binary]: hand-worked frames, what its text may say, and random layouts: what a naive encoder here writes
// bit by bit must be read as the decimal text that it was made from.
#include <doctest/doctest.h>

#include <random>
#include <string>

#include "drivers/decode/decoder.hpp"
#include "drivers/decode/replay_log.hpp"

using namespace tallystick;

namespace {

std::shared_ptr<const Dialect> dialect_of(const std::string& toml) {
  auto read = read_dialect(toml, "try.dialect.toml");
  if (!read) {
    for (const auto& fault : read.error()) MESSAGE(text(fault));
  }
  REQUIRE(read.has_value());
  return std::make_shared<const Dialect>(*std::move(read));
}

std::string head(std::size_t length) {
  return "name = \"try\"\n[frame]\ncut_by = \"length\"\nlength = " + std::to_string(length) +
         "\nstart = { hex = \"A5\" }\n[talk]\nspeaks = \"pushed\"\n";
}

const std::string plain = head(4) + R"([binary]
width = 3
value = { at = 1, width = 3, form = "packed" }
[value]
implied_decimals = 3
[unit]
unit = "mm"
)";

std::string with(const std::string& from, const std::string& to, std::string text = plain) {
  const auto at = text.find(from);
  REQUIRE(at != std::string::npos);
  return text.replace(at, from.size(), to);
}

/// "12.345 mm", or the reason for refusing it.
std::string said(const std::shared_ptr<const Dialect>& dialect, const std::string& hex) {
  Decoder decoder(dialect);
  auto events = decoder.feed(*bytes_of_hex(hex), Stamp{});
  for (auto& event : decoder.gap(Stamp{})) events.push_back(event);
  std::string out;
  for (const auto& event : events) {
    if (!out.empty()) out += ", ";
    if (const auto* decoded = event.decoded())
      out += (decoded->channel ? *decoded->channel + ": " : "") + decoded->value_text + " " +
             std::string(decoded->quantity.unit().name());
    else
      out += name(event.refusal()->reason);
  }
  return out;
}

Error only_fault(const std::string& toml) {
  const auto read = read_dialect(toml, "try.dialect.toml");
  REQUIRE_MESSAGE(!read.has_value(), toml);
  REQUIRE_MESSAGE(read.error().size() == 1, text(read.error().front()), " / ", text(read.error().back()));
  CHECK(!read.error().front().hint.empty());
  CHECK(read.error().front().where.starts_with("try.dialect.toml:"));
  return read.error().front();
}

}  // namespace

TEST_CASE("packed digits, in each order") {
  CHECK(said(dialect_of(plain), "A5 01 23 45") == "12.345 mm");
  CHECK(said(dialect_of(plain), "A5 00 00 00") == "0.000 mm");
  CHECK(said(dialect_of(plain), "A5 A5 00 01") ==
        "not_a_number, incomplete");  // A is no digit; A5 might begin one
  CHECK(said(dialect_of(with("\"packed\"", "\"packed\", byte_order = \"low_first\"")), "A5 45 23 01") ==
        "12.345 mm");
  CHECK(said(dialect_of(with("\"packed\"", "\"packed\", nibble_order = \"low_first\"")), "A5 10 32 54") ==
        "12.345 mm");
  CHECK(said(dialect_of(
                 with("\"packed\"", "\"packed\", byte_order = \"low_first\", nibble_order = \"low_first\"")),
             "A5 54 32 10") == "12.345 mm");
  // The sign in the nibble in front of the digits, and a nibble behind them that means nothing.
  const auto nibbles = with("\"packed\" }",
                            "\"packed\", skip_nibbles = 1, digits = 4 }\n"
                            "sign = { at = 1, mask = 0xF0, negative = 0xD, positive = 0xC }\n"
                            "ignored = [{ at = 3, mask = 0x0F }]");
  CHECK(said(dialect_of(nibbles), "A5 C1 23 47") == "1.234 mm");
  CHECK(said(dialect_of(nibbles), "A5 D1 23 49") == "-1.234 mm");
  CHECK(said(dialect_of(nibbles), "A5 E1 23 49") == "not_a_number");
}

TEST_CASE("one digit a byte, with a zone and with blanks") {
  const auto unpacked = with("\"packed\"", "\"unpacked\"");
  CHECK(said(dialect_of(unpacked), "A5 01 02 03") == "0.123 mm");
  CHECK(said(dialect_of(unpacked), "A5 11 02 03") == "not_a_number");
  const auto zone = with("\"packed\"", "\"unpacked\", zone = 3, blank = 0xF");
  CHECK(said(dialect_of(zone), "A5 31 32 33") == "0.123 mm");
  CHECK(said(dialect_of(zone), "A5 3F 3F 33") == "0.003 mm");
  CHECK(said(dialect_of(zone), "A5 3F 3F 3F") == "not_a_number");  // nothing is shown: that is no zero
  CHECK(said(dialect_of(zone), "A5 31 3F 33") == "not_a_number");
}

// Two's complement and sign-magnitude of small widths: from the definitions, worked by hand.
TEST_CASE("whole numbers at their ends") {
  const auto twos = with("\"packed\"", "\"twos_complement\"");
  CHECK(said(dialect_of(twos), "A5 00 00 01") == "0.001 mm");
  CHECK(said(dialect_of(twos), "A5 FF FF FF") == "-0.001 mm");
  CHECK(said(dialect_of(twos), "A5 7F FF FF") == "8388.607 mm");
  CHECK(said(dialect_of(twos), "A5 80 00 00") == "-8388.608 mm");
  const auto little = with("\"packed\"", "\"twos_complement\", byte_order = \"low_first\"");
  CHECK(said(dialect_of(little), "A5 FE FF FF") == "-0.002 mm");
  const auto magnitude = with("\"packed\"", "\"sign_magnitude\"");
  CHECK(said(dialect_of(magnitude), "A5 80 00 07") == "-0.007 mm");
  CHECK(said(dialect_of(magnitude), "A5 80 00 00") == "0.000 mm");  // no negative zero
  const auto whole = with("\"packed\"", "\"whole\"");
  CHECK(said(dialect_of(whole), "A5 FF FF FF") == "16777.215 mm");
}

TEST_CASE("a bit that nothing names must not be set") {
  const auto toml = with("width = 3\nvalue = { at = 1, width = 3", "width = 3\nvalue = { at = 2, width = 2");
  CHECK(said(dialect_of(toml), "A5 00 12 34") == "1.234 mm");
  CHECK(said(dialect_of(toml), "A5 40 12 34") == "not_mine");
}

TEST_CASE("decimals by unit, decimals in the frame, channel, status") {
  const auto toml = with("unit = \"mm\"", "in_frame = true\nmap = { \"0\" = \"mm\", \"1\" = \"in\" }",
                         with("implied_decimals = 3", "decimals_by_unit = { mm = 2, in = 4 }",
                              with("value = { at = 1, width = 3",
                                   "unit = { at = 1, mask = 0x80 }\nchannel = { at = "
                                   "1, mask = 0x0C }\nstatus = { at = 1, mask = 0x03 "
                                   "}\nvalue = { at = 2, width = 2"))) +
                    "[status]\nmap = { \"0\" = \"ok\", \"2\" = \"over_range\", \"3\" = \"low_battery\" }\n";
  const auto dialect = dialect_of(toml);
  CHECK(said(dialect, "A5 08 12 34") == "2: 12.34 mm");
  CHECK(said(dialect, "A5 8C 12 34") == "3: 0.1234 in");
  CHECK(said(dialect, "A5 03 00 07") == "0: 0.07 mm");
  CHECK(said(dialect, "A5 02 FF FF") ==
        "out_of_range");  // the status goes first: the digits mean nothing then
  CHECK(said(dialect, "A5 01 12 34") == "unknown_status");
  const auto places = with("implied_decimals = 3\n", "",
                           with("width = 3\nvalue = { at = 1, width = 3",
                                "width = 3\nplaces = { at = 1 }\nvalue = { at = 2, width = 2"));
  CHECK(said(dialect_of(places), "A5 00 12 34") == "1234 mm");
  CHECK(said(dialect_of(places), "A5 09 12 34") == "0.000001234 mm");
  CHECK(said(dialect_of(places), "A5 0A 12 34") == "not_a_number");
}

TEST_CASE("a length byte: damage costs its own frame only") {
  const auto dialect = dialect_of(R"(name = "try"
[frame]
cut_by = "length_byte"
start = { hex = "7E" }
length_at = 2
length_adds = 3
shortest = 4
longest = 12
[binary]
width = 4
literal = [{ at = 1, is = 3 }]
value = { at = 2, width = 3, form = "packed" }
[checksum]
kind = "sum"
written = "raw"
[unit]
unit = "um"
[talk]
speaks = "pushed"
)");
  const std::string good = "7E 03 00 12 34 49 ";
  CHECK(said(dialect, good) == "1234 um");
  CHECK(said(dialect, good + good) == "1234 um, 1234 um");
  CHECK(said(dialect, "7E FF " + good) == "too_long, 1234 um");    // impossible: refused at once
  CHECK(said(dialect, "7E 00 " + good) == "not_mine, 1234 um");    // the same
  CHECK(said(dialect, "7E 09 " + good) == "incomplete, 1234 um");  // possible: by the silence
  CHECK(said(dialect, "7E 09 " + good + good) == "bad_checksum, 1234 um, 1234 um");
  CHECK(said(dialect, "7E 03 7E 03 00 12 34 49") == "bad_checksum, 1234 um");  // one byte on, not one frame
  CHECK(said(dialect, "7E 03 00 7E 12 93") == "not_a_number");  // a whole frame that holds the start byte
}

TEST_CASE("what [binary] is told when it is wrong") {
  CHECK(only_fault(with("width = 3\n", "")).what == "binary.width is missing");
  CHECK(only_fault(with("form = \"packed\"", "form = \"pakced\"")).code == "wrong_value");
  CHECK(only_fault(with("width = 3, form", "width = 4, form")).what ==
        "binary.value reaches beyond binary.width");
  CHECK(only_fault(with("\"packed\" }", "\"packed\" }\nstatus = { at = 3, mask = 0x01 }")).what ==
        "binary.status shares bits of byte 3");
  CHECK(only_fault(with("\"packed\" }", "\"packed\", skip_nibbles = 6 }")).what == "the value has 0 digits");
  CHECK(only_fault(with("\"packed\"", "\"whole\", skip_nibbles = 1")).code == "contradiction");
  CHECK(only_fault(with("\"packed\"", "\"whole\", blank = 15")).code == "contradiction");
  CHECK(only_fault(with("width = 3\n", "width = 3\nignored = [{ at = 1, mask = 0x05 }]\n")).what ==
        "mask names bits that do not stand side by side");
  CHECK(only_fault(with("length = 4", "length = 6")).what ==
        "frame.length is 6, but start, end and checksum take 1 bytes and binary.width is 3");
  CHECK(only_fault(with("implied_decimals = 3", "decimal_mark = \",\"")).what ==
        "value.decimal_mark means nothing where the value is binary");
  CHECK(only_fault(with("implied_decimals = 3", "pattern = '(?P<value>.*)'")).what ==
        "value.pattern and [binary] both say where the value stands");
  CHECK(only_fault(with("implied_decimals = 3", "no_value = [\"FF\"]")).what ==
        "value.no_value \"FF\" is not the value's bytes");
  CHECK(only_fault(with("implied_decimals = 3", "decimals_by_unit = { mn = 3 }")).code == "unknown_unit");
  CHECK(only_fault(with("width = 3\nvalue = { at = 1, width = 3, form = \"packed\" }",
                        "width = 3\nvalue = { at = 2, width = 2, form = \"twos_complement\" }\n"
                        "sign = { at = 1, negative = 1, positive = 0 }"))
            .code == "contradiction");
}

namespace {

struct Tried {
  std::string toml, bytes, expected;
};

/// Writes `bits` of `number`, lowest first, where `put` says that the i-th lowest bit stands.
template <class Where>
void put_bits(std::string& body, std::uint64_t number, std::size_t bits, Where where) {
  for (std::size_t i = 0; i < bits; ++i) {
    const std::size_t at = where(i);
    if ((number >> i & 1U) != 0)
      body[at / 8] = static_cast<char>(static_cast<unsigned char>(body[at / 8]) | 1U << (at % 8));
  }
}

/// A random layout, a random value in it, its bytes, and the text that they must be read as.
Tried random_frame(std::mt19937& random) {
  const auto below = [&](unsigned n) { return static_cast<std::size_t>(random() % n); };
  const std::size_t width = 1 + below(4), lead = below(3), form = below(5);
  const bool low_bytes = below(2) == 1, low_nibbles = below(2) == 1;
  const std::size_t decimals = below(7);
  static const char* const forms[] = {"packed", "unpacked", "whole", "twos_complement", "sign_magnitude"};
  std::string body(lead + width + 1, '\0');
  std::uint64_t most = 1;
  const bool digits = form < 2;
  const std::size_t count = form == 0 ? 2 * width : width;
  if (digits)
    for (std::size_t i = 0; i < count; ++i) most *= 10;
  else
    most = std::uint64_t{1} << (8 * width - (form == 2 ? 0 : 1));
  const std::uint64_t magnitude = (static_cast<std::uint64_t>(random()) << 16U | random() % 65536) % most;
  const bool own_sign = form >= 3;
  const bool negative = below(2) == 1;
  const std::size_t sign_bit = below(8);
  const auto byte_of = [&](std::size_t significance) {  // 0: least significant byte
    return lead + (low_bytes ? significance : width - 1 - significance);
  };
  if (digits) {
    std::uint64_t rest = magnitude;
    for (std::size_t i = 0; i < count; ++i, rest /= 10) {
      const std::size_t byte = byte_of(form == 0 ? i / 2 : i);
      const bool high = form == 0 && (i % 2 == 0) == low_nibbles;
      put_bits(body, rest % 10, 4, [&](std::size_t b) { return byte * 8 + (high ? 4 : 0) + b; });
    }
  } else {
    std::uint64_t number = magnitude;
    if (negative && form == 3) number = ~magnitude + 1;
    if (negative && form == 4) number |= most;
    put_bits(body, number, 8 * width, [&](std::size_t b) { return byte_of(b / 8) * 8 + b % 8; });
  }
  if (!own_sign && negative) body.back() = static_cast<char>(1U << sign_bit);
  Tried out;
  out.toml = head(body.size() + 1) + "[binary]\nwidth = " + std::to_string(body.size()) +
             "\nvalue = { at = " + std::to_string(lead + 1) + ", width = " + std::to_string(width) +
             ", form = \"" + forms[form] + "\"" + (low_bytes ? ", byte_order = \"low_first\"" : "") +
             (form == 0 && low_nibbles ? ", nibble_order = \"low_first\"" : "") + " }\n";
  if (!own_sign)
    out.toml += "sign = { at = " + std::to_string(body.size()) +
                ", mask = " + std::to_string(1U << sign_bit) + ", negative = 1, positive = 0 }\n";
  if (decimals > 0) out.toml += "[value]\nimplied_decimals = " + std::to_string(decimals) + "\n";
  out.toml += "[unit]\nunit = \"um\"\n";
  out.bytes = '\xA5' + body;
  std::string text = std::to_string(magnitude);
  while (text.size() <= decimals) text.insert(text.begin(), '0');
  if (decimals > 0) text.insert(text.size() - decimals, ".");
  out.expected = (negative && magnitude != 0 ? "-" : "") + text + " um";
  return out;
}

}  // namespace

TEST_CASE("20,000 random layouts and values are read back exactly") {
  std::size_t negative = 0;
  for (unsigned seed = 1; seed <= 20'000; ++seed) {
    std::mt19937 random(seed);
    const Tried tried = random_frame(random);
    const std::string found = said(dialect_of(tried.toml), hex_text(tried.bytes));
    REQUIRE_MESSAGE(found == tried.expected, "seed ", seed, "\n", tried.toml, hex_text(tried.bytes));
    negative += tried.expected.starts_with("-") ? 1U : 0U;
  }
  CHECK(negative > 5'000);
}
