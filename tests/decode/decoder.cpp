// When bytes count: openings, gaps, expiry, bounds.
#include "drivers/decode/decoder.hpp"

#include <doctest/doctest.h>

#include <random>

#include "drivers/decode/plan.hpp"
#include "drivers/decode/replay_log.hpp"

using namespace tallystick;

namespace {

std::shared_ptr<const Dialect> dialect(const std::string& frame, const std::string& rest,
                                       const std::string& head = "") {
  auto read = read_dialect("name = \"try\"\n" + head + "[port]\nbaud = 9600\n[frame]\n" + frame + rest,
                           "try.dialect.toml");
  if (!read) {
    for (const auto& fault : read.error()) MESSAGE(text(fault));
  }
  REQUIRE(read);
  return std::make_shared<const Dialect>(*std::move(read));
}

const std::string value_mm =
    "[value]\npattern = '(?P<value>[+-]?\\d+\\.\\d+)'\n[unit]\nunit = \"mm\"\n[talk]\nspeaks = \"pushed\"\n";
std::shared_ptr<const Dialect> line() {
  return dialect("cut_by = \"terminator\"\nterminator = \"\\r\"\nlongest = 16\n", value_mm);
}

constexpr std::int64_t ms = 1000;

/// "12.345" for a reading, "!incomplete" for a refusal, joined by blanks.
std::string told(const std::vector<DecodeEvent>& events) {
  std::string out;
  for (const auto& event : events) {
    if (!out.empty()) out += ' ';
    out += event.decoded() ? event.decoded()->value_text : "!" + std::string(name(event.refusal()->reason));
  }
  return out;
}

}  // namespace

TEST_CASE("the first press after opening counts, the tail of a running stream does not") {
  Decoder decoder(line());
  CHECK(told(decoder.opened(replay_stamp(0))) == "");
  CHECK(told(decoder.feed("1.5\r2.5\r", replay_stamp(5 * ms))) == "!incomplete 2.5");
  decoder.opened(replay_stamp(1000 * ms));
  CHECK(told(decoder.feed("3.5\r", replay_stamp(1021 * ms))) == "3.5");
}

TEST_CASE("without an opening the first byte counts") {
  Decoder decoder(line());
  CHECK(told(decoder.feed("1.5\r", replay_stamp(0))) == "1.5");
}

TEST_CASE("a frame that gets no further is incomplete, by poll or by the next bytes, with the same result") {
  for (const bool polled : {false, true}) {
    Decoder decoder(line());
    std::string out = told(decoder.feed("1.", replay_stamp(0)));
    CHECK(decoder.next_poll_ns() == 250'000'000);
    if (polled) {
      CHECK(told(decoder.poll(replay_stamp(249 * ms))) == "");
      out += told(decoder.poll(replay_stamp(250 * ms)));
      CHECK(out == "!incomplete");
    }
    out += told(decoder.feed("5\r", replay_stamp(300 * ms)));
    CHECK(out == (polled ? "!incomplete!incomplete" : "!incomplete !incomplete"));
    CHECK(told(decoder.feed("2.5\r", replay_stamp(310 * ms))) == "2.5");
  }
}

TEST_CASE("after a broken frame and a longer silence a press counts again") {
  Decoder decoder(line());
  decoder.feed("1.", replay_stamp(0));
  CHECK(told(decoder.feed("2.5\r", replay_stamp(500 * ms))) == "!incomplete 2.5");
}

TEST_CASE("a slow frame within the give-up time is whole") {
  Decoder decoder(line());
  std::string out;
  std::int64_t at = 0;
  for (const char c : std::string("12.5\r"))
    out += told(decoder.feed(std::string(1, c), replay_stamp(at += 200 * ms)));
  CHECK(out == "12.5");
}

TEST_CASE("a frame's stamps are those of the wake-ups that brought its first and last byte") {
  Decoder decoder(line());
  decoder.feed("1.5\r2", replay_stamp(10 * ms));
  decoder.feed(".", replay_stamp(20 * ms));
  const auto events = decoder.feed("5\r3.5\r", replay_stamp(30 * ms));
  REQUIRE(events.size() == 2);
  CHECK(events[0].frame.first == replay_stamp(10 * ms));
  CHECK(events[0].frame.last == replay_stamp(30 * ms));
  CHECK(events[0].frame.offset == 4);
  CHECK(events[0].frame.bytes == "2.5\r");
  CHECK(events[1].frame.first == replay_stamp(30 * ms));
}

TEST_CASE("opening again gives out what was left, and forgets nothing silently") {
  Decoder decoder(line());
  decoder.feed("1.", replay_stamp(0));
  CHECK(told(decoder.opened(replay_stamp(10 * ms))) == "!incomplete");
}

TEST_CASE("bytes of the warm-up are thrown away and counted") {
  auto read = read_dialect(
      "name = \"try\"\n[port]\nwarm_up_ms = 100\n[frame]\ncut_by = \"terminator\"\nterminator = \"\\r\"\n" +
          value_mm,
      "f");
  REQUIRE(read);
  Decoder decoder(std::make_shared<const Dialect>(*std::move(read)));
  decoder.opened(replay_stamp(0));
  CHECK(told(decoder.feed("9.9\r9.", replay_stamp(99 * ms))) == "");
  CHECK(decoder.discarded() == 6);
  CHECK(told(decoder.feed("9\r", replay_stamp(105 * ms))) == "!incomplete");
  CHECK(told(decoder.feed("1.5\r", replay_stamp(300 * ms))) == "1.5");
  CHECK(decoder.discarded() == 6);
}

TEST_CASE("a stream is identified after enough frames since opening; others always are") {
  auto read = read_dialect(
      "name = \"try\"\n[frame]\ncut_by = \"terminator\"\nterminator = \"\\r\"\n[value]\npattern = "
      "'(?P<value>\\d)'\n[unit]\nunit = \"mm\"\n[talk]\nspeaks = \"streams\"\nframes_to_identify = 2\n",
      "f");
  REQUIRE(read);
  Decoder decoder(std::make_shared<const Dialect>(*std::move(read)));
  decoder.opened(replay_stamp(0));
  decoder.feed("x\r1\r", replay_stamp(ms));
  CHECK(!decoder.identified());
  decoder.feed("2\r", replay_stamp(2 * ms));
  CHECK(decoder.identified());
  decoder.opened(replay_stamp(3 * ms));
  CHECK(!decoder.identified());
  CHECK(Decoder(line()).identified());
}

TEST_CASE("endless bytes without a delimiter come out in pieces; nothing grows") {
  for (const auto& frame : {"cut_by = \"terminator\"\nterminator = \"\\r\\n\"\nlongest = 16\n",
                            "cut_by = \"start_end\"\nstart = \"<<\"\nend = \">>\"\nlongest = 16\n",
                            "cut_by = \"length\"\nlength = 8\n", "cut_by = \"idle_gap\"\nlongest = 16\n"}) {
    Decoder decoder(dialect(frame, value_mm));
    std::size_t out = 0;
    std::size_t in = 0;
    std::mt19937 random(1);
    for (int i = 0; i < 2000; ++i) {
      std::string bytes(1 + random() % 300, '<');
      for (auto& byte : bytes) byte = static_cast<char>('<' + random() % 2);
      in += bytes.size();
      for (const auto& event : decoder.feed(bytes, replay_stamp(0))) {
        out += event.frame.bytes.size();
        CHECK(event.refusal() != nullptr);
      }
      CHECK(in - out <= 80);
    }
    for (const auto& event : decoder.gap(replay_stamp(1))) out += event.frame.bytes.size();
    CHECK(in == out);
  }
}

TEST_CASE("a wrong checksum is followed by a scan one byte further on") {
  const auto marked =
      dialect("cut_by = \"start_end\"\nstart = \"<\"\nend = \">\"\nafter_end = 2\nlongest = 32\n",
              value_mm + "[checksum]\nkind = \"sum\"\nplace = \"after_end\"\n");
  decode::Checksum sum;
  const std::string good = "<1.5>" + sum.of("1.5");
  Decoder decoder(marked);
  CHECK(told(decoder.feed("<1.5>00" + good, replay_stamp(0))) == "!bad_checksum 1.5");
  CHECK(told(decoder.feed("<1." + good, replay_stamp(0))) == "!bad_checksum 1.5");
  CHECK(told(decoder.feed("xx<" + good, replay_stamp(0))) == "!not_mine !bad_checksum 1.5");
}

TEST_CASE("a fixed length without mark or check finds its border again only at a silence") {
  Decoder decoder(dialect("cut_by = \"length\"\nlength = 3\n", value_mm));
  CHECK(told(decoder.feed("1.52.5", replay_stamp(0))) == "1.5 2.5");
  CHECK(told(decoder.feed("x1.52.5", replay_stamp(ms))) == "!not_mine");
  CHECK(told(decoder.gap(replay_stamp(2 * ms))) == "!incomplete");
  CHECK(told(decoder.feed("3.5", replay_stamp(3 * ms))) == "3.5");
}

TEST_CASE("the gap itself cuts") {
  Decoder decoder(dialect("cut_by = \"idle_gap\"\nidle_gap_ms = 5\nlongest = 16\n", value_mm));
  decoder.opened(replay_stamp(0));
  CHECK(told(decoder.feed("9.9", replay_stamp(2 * ms))) == "");
  CHECK(told(decoder.feed("1.", replay_stamp(10 * ms))) == "!incomplete");
  CHECK(told(decoder.feed("5", replay_stamp(14 * ms))) == "");
  CHECK(decoder.next_poll_ns() == 5'000'000);
  CHECK(told(decoder.poll(replay_stamp(19 * ms))) == "1.5");
  CHECK(!decoder.next_poll_ns());
}

TEST_CASE("a refused status never lets its number through") {
  const auto with_status =
      dialect("cut_by = \"terminator\"\nterminator = \"\\r\"\n",
              "[value]\npattern = '(?P<status>[A-E])(?P<value>\\d+\\.\\d+)'\n[status]\nmap = { \"A\" = "
              "\"ok\", \"B\" = \"over_range\", \"C\" = \"error\", \"D\" = \"low_battery\" }\n[unit]\nunit = "
              "\"mm\"\n[talk]\nspeaks = \"pushed\"\n");
  Decoder decoder(with_status);
  CHECK(told(decoder.feed("A1.5\rB1.5\rC1.5\rD1.5\rE1.5\r", replay_stamp(0))) ==
        "1.5 !out_of_range !not_a_number 1.5 !unknown_status");
}

TEST_CASE("a pattern that needs an expression engine reads the same way") {
  const auto by_expression =
      dialect("cut_by = \"terminator\"\nterminator = \"\\r\"\n",
              "[value]\npattern = '.*?(?P<value>\\d+\\.\\d+)\\s*(?P<unit>mm)?'\n[unit]\nunit = "
              "\"in\"\nin_frame = true\nmap = { \"mm\" = \"mm\" }\n[talk]\nspeaks = \"pushed\"\n");
  CHECK(by_expression->plan->uses_regular_expression());
  Decoder decoder(by_expression);
  const auto events = decoder.feed("X= 1.5 mm\rX= 2.5\r", replay_stamp(0));
  REQUIRE(told(events) == "1.5 2.5");
  CHECK(events[0].decoded()->quantity.unit().name() == "mm");
  CHECK(events[0].decoded()->unit_in_frame);
  CHECK(events[1].decoded()->quantity.unit().name() == "in");
  CHECK(!events[1].decoded()->unit_in_frame);
  CHECK(!line()->plan->uses_regular_expression());
}

TEST_CASE("one line of JSON an event") {
  Decoder decoder(line());
  const auto events = decoder.feed("012.345\rx\r", replay_stamp(0));
  REQUIRE(events.size() == 2);
  CHECK(
      json_line(events[0]) ==
      R"({"kind":"reading","value":"12.345","unit":"mm","channel":null,"status":"ok","offset":0,"bytes":"3031322e3334350d"})");
  CHECK(json_line(events[1]) == R"({"kind":"refusal","reason":"not_mine","offset":8,"bytes":"780d"})");
}
