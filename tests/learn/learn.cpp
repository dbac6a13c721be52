// The learner against invented gauges: what it proposes must read values that it never saw; where the
// recording does not carry enough, it must say what is missing.
#include <doctest/doctest.h>

#include <map>
#include <set>

#include "drivers/decode/decoder.hpp"
#include "drivers/learn/learn.hpp"
#include "tests/learn/shapes.hpp"
#include "tests/learn/wire.hpp"

using namespace tallystick;
using namespace tallystick::learn_tests;

namespace {

learn::Press press(const std::string& bytes, const PortSettings& line, const std::string& shown,
                   std::int64_t at_us) {
  learn::Press out;
  out.line = line;
  // As an adapter brings them: in two pieces a few milliseconds apart.
  const std::size_t half = bytes.size() / 2;
  out.heard.push_back({at_us, ReplayRecord::Kind::received, bytes.substr(0, half)});
  if (half < bytes.size())
    out.heard.push_back({at_us + 4'000, ReplayRecord::Kind::received, bytes.substr(half)});
  if (bytes.size() == 1) out.heard.erase(out.heard.begin());
  if (!shown.empty()) {
    const auto read = learn::read_shown(shown);
    REQUIRE_MESSAGE(read.has_value(), shown);
    out.shown = *read;
    out.shown_text = shown;
  }
  return out;
}

/// The gauge pressed for each of its values while the port listens with `receiver`.
learn::Recording recorded(const Gauge& gauge, const PortSettings& receiver,
                          const std::vector<std::string>& values) {
  learn::Recording out;
  std::int64_t at_us = 1'000'000;
  for (const auto& shown : values) {
    const std::string bytes = heard(gauge.send(display_of(shown)), gauge.line, receiver);
    if (!bytes.empty()) out.presses.push_back(press(bytes, receiver, shown, at_us));
    at_us += 2'000'000;
  }
  return out;
}

PortSettings eight_bits(PortSettings line) {
  line.data_bits = 8, line.parity = Parity::none, line.stop_bits = 1;
  return line;
}

/// What a right receiver is for a gauge: seven data bits with parity are heard at 8N1.
PortSettings receiver_of(const Gauge& gauge) {
  return gauge.line.data_bits == 7 ? eight_bits(gauge.line) : gauge.line;
}

std::string codes(const std::vector<learn::Remark>& remarks) {
  std::string out;
  for (const auto& remark : remarks) out += (out.empty() ? "" : ", ") + remark.code;
  return out;
}

std::shared_ptr<const Dialect> dialect_of(const std::string& toml) {
  auto read = read_dialect(toml, "learned");
  REQUIRE_MESSAGE(read.has_value(), toml);
  return std::make_shared<const Dialect>(*std::move(read));
}

/// The quantities that the dialect reads from what the gauge sends for a value.
std::vector<Decoded> readings(const Gauge& gauge, const std::shared_ptr<const Dialect>& dialect,
                              const std::string& shown) {
  Decoder decoder(dialect);
  std::vector<Decoded> out;
  auto events = decoder.feed(heard(gauge.send(display_of(shown)), gauge.line, gauge.line), Stamp{});
  for (auto& event : decoder.gap(Stamp{})) events.push_back(event);
  for (const auto& event : events) {
    if (event.decoded() != nullptr) out.push_back(*event.decoded());
  }
  return out;
}

/// Holds a proposal against values that were not part of the recording.
void check_later(const Gauge& gauge, const learn::Proposal& proposal) {
  const auto dialect = dialect_of(proposal.toml);
  CHECK_MESSAGE(dialect->port.baud == gauge.line.baud, gauge.name);
  CHECK_MESSAGE(dialect->port.data_bits == gauge.line.data_bits, gauge.name);
  CHECK_MESSAGE(dialect->port.parity == gauge.line.parity, gauge.name);
  CHECK_MESSAGE(dialect->port.stop_bits == gauge.line.stop_bits, gauge.name);
  for (const auto& shown : gauge.later) {
    const auto found = readings(gauge, dialect, shown);
    const Display display = display_of(shown);
    REQUIRE_MESSAGE(!found.empty(), gauge.name, ": ", shown, " is refused\n", proposal.toml);
    const auto wanted =
        Quantity::parse((display.negative ? "-" : "") + display.digits, *Unit::named(display.unit));
    REQUIRE(wanted.has_value());
    CHECK_MESSAGE(found.back().quantity == *wanted, gauge.name, ": ", shown, " is read as ",
                  found.back().value_text, "\n", proposal.toml);
    if (!display.channel.empty()) CHECK_MESSAGE(found.back().channel == display.channel, gauge.name);
    if (!display.status.empty()) CHECK_MESSAGE(name(found.back().status) == display.status, gauge.name);
  }
}

const std::string known_toml = R"(name = "known"
about = "sign and digits"
[port]
baud = 4800
data_bits = 7
parity = "even"
[frame]
cut_by = "terminator"
terminator = "\r"
[value]
pattern = '''(?P<sign>[+-])(?P<value>\d{3}\.\d{3})'''
[unit]
unit = "mm"
[talk]
speaks = "pushed"
)";

Gauge gauge_named(const std::string& wanted) {
  for (const auto& gauge : gauges()) {
    if (gauge.name == wanted) return gauge;
  }
  FAIL("no gauge \"", wanted, "\"");
  return {};
}

}  // namespace

TEST_CASE("every gauge that is heard with its own settings is learned, and its later values are read") {
  std::size_t learned = 0;
  for (const auto& gauge : gauges()) {
    const auto findings = learn::learn(recorded(gauge, receiver_of(gauge), gauge.pressed), {}, {});
    CHECK_MESSAGE(!findings.proposals.empty(), gauge.name, ": missing ", codes(findings.missing));
    if (findings.proposals.empty()) continue;
    CHECK_MESSAGE(findings.missing.empty(), gauge.name);
    check_later(gauge, findings.proposals.front());
    ++learned;
  }
  CHECK(gauges().size() >= 40);
  CHECK(learned == gauges().size());
}

TEST_CASE("presses heard with wrong settings first do not lead astray") {
  std::size_t different = 0;
  for (const auto& gauge : gauges()) {
    const PortSettings right = receiver_of(gauge);
    learn::Recording recording;
    for (const int baud : {9600, 4800, 19200}) {
      PortSettings wrong = eight_bits(right);
      wrong.baud = baud;
      if (wrong == right) continue;
      const auto garbled = recorded(gauge, wrong, {gauge.pressed.front()});
      for (auto each : garbled.presses) {
        different += each.bytes() != gauge.send(display_of(gauge.pressed.front())) ? 1U : 0U;
        recording.presses.push_back(std::move(each));
      }
    }
    for (auto& each : recorded(gauge, right, gauge.pressed).presses)
      recording.presses.push_back(std::move(each));
    const auto findings = learn::learn(recording, {}, {});
    CHECK_MESSAGE(!findings.proposals.empty(), gauge.name, ": missing ", codes(findings.missing));
    if (!findings.proposals.empty()) check_later(gauge, findings.proposals.front());
  }
  CHECK(different > 60);
}

TEST_CASE("at a wrong speed alone nothing is proposed") {
  std::size_t tried = 0;
  for (const auto& gauge : gauges()) {
    for (const int baud : {300, 1200, 2400, 4800, 9600, 19200, 38400, 57600, 115200}) {
      if (baud == gauge.line.baud) continue;
      PortSettings wrong = eight_bits(gauge.line);
      wrong.baud = baud;
      const auto recording = recorded(gauge, wrong, gauge.pressed);
      const auto findings = learn::learn(recording, {}, {});
      CHECK_MESSAGE(findings.proposals.empty(), gauge.name, " at ", baud, "\n",
                    findings.proposals.empty() ? "" : findings.proposals.front().toml);
      CHECK_MESSAGE(!findings.missing.empty(), gauge.name);
      ++tried;
    }
  }
  CHECK(tried > 300);
}

TEST_CASE("what is missing is said") {
  const Gauge plain = gauge_named("sign, fixed digits, CR");
  const PortSettings line = plain.line;
  const auto missing = [](const learn::Recording& recording) {
    const auto findings = learn::learn(recording, {}, {});
    CHECK(findings.proposals.empty());
    for (const auto& remark : findings.missing) CHECK(learn::remark_text(remark) != remark.code);
    return codes(findings.missing);
  };
  SUBCASE("nothing was heard") { CHECK(missing({}) == "no_bytes"); }
  SUBCASE("one value only") {
    CHECK(missing(recorded(plain, line, {"12.345 mm", "12.345 mm"})) == "one_value");
  }
  SUBCASE("nobody looked at the display") {
    auto recording = recorded(plain, line, plain.pressed);
    for (auto& each : recording.presses) each.shown.reset();
    CHECK(missing(recording) == "not_shown");
  }
  SUBCASE("the display was misread") {
    auto recording = recorded(plain, line, plain.pressed);
    recording.presses[1].shown = *learn::read_shown("-3.071 mm");
    CHECK(missing(recording) == "number_not_found");
  }
  SUBCASE("no unit") { CHECK(missing(recorded(plain, line, {"12.345", "-3.070"})) == "unit_unknown"); }
  SUBCASE("the unit changes unseen") {
    CHECK(missing(recorded(plain, line, {"12.345 mm", "-3.070 mm", "0.486 in"})) == "unit_not_in_frame");
  }
  SUBCASE("two numbers that never differed") {
    const Gauge twins{"twins",
                      line,
                      [](const Display& d) { return d.sign() + d.digits + " " + d.sign() + d.digits + "\r"; },
                      {},
                      {}};
    CHECK(missing(recorded(twins, line, {"12.345 mm", "-13.070 mm"})) == "two_numbers");
  }
  SUBCASE("a channel that nobody named") {
    const Gauge channel = gauge_named("channel and unit");
    auto recording = recorded(channel, channel.line, channel.pressed);
    for (auto& each : recording.presses) each.shown->channel.reset();
    CHECK(missing(recording) == "unexplained");
  }
  SUBCASE("too few frames for a check") {
    const Gauge checked = gauge_named("sum in hex behind a star");
    const std::string found = missing(recorded(checked, checked.line, {"12.345 mm", "-3.070 mm"}));
    CHECK_MESSAGE(found.find("check_unsure") != std::string::npos, found);
  }
  SUBCASE("bytes that are no text want more values") {
    const Gauge packed = gauge_named("packed digits, flags, decimals said");
    const std::string found = missing(recorded(packed, packed.line, {"12.345 mm", "-3.070 mm"}));
    CHECK_MESSAGE(found.find("few_values") != std::string::npos, found);
  }
  SUBCASE("sign and unit changed together") {
    const Gauge packed = gauge_named("packed digits, flags, decimals said");
    const std::string found = missing(
        recorded(packed, packed.line, {"12.345 mm", "3.070 mm", "104.500 mm", "-0.48600 in", "-1.00005 in"}));
    CHECK_MESSAGE(found.find("sign_or_unit") != std::string::npos, found);
  }
}

TEST_CASE("what was assumed without being seen is said, in the proposal and in its text") {
  const Gauge plain = gauge_named("sign, fixed digits, CR");
  const auto findings = learn::learn(recorded(plain, plain.line, {"12.345 mm", "3.070 mm"}), {}, {});
  REQUIRE(!findings.proposals.empty());
  CHECK(codes(findings.proposals.front().unseen) == "sign_not_seen, unit_not_sent");
  CHECK(findings.proposals.front().toml.find("# Not seen: no negative value was shown") != std::string::npos);
  check_later(plain, findings.proposals.front());  // the assumption was right here
}

TEST_CASE("a known dialect that reads it comes first, with its settings") {
  const Gauge even = gauge_named("seven bits, even parity");
  auto findings = learn::learn(recorded(even, receiver_of(even), even.pressed), {dialect_of(known_toml)}, {});
  REQUIRE(findings.known.size() == 1);
  CHECK(findings.known.front().name == "known");
  CHECK(!findings.known.front().other_settings);
  CHECK(findings.known.front().read == std::vector<std::string>{"12.345 mm", "-3.070 mm", "104.500 mm"});
  const Gauge plain = gauge_named("sign, fixed digits, CR");
  findings = learn::learn(recorded(plain, plain.line, plain.pressed), {dialect_of(known_toml)}, {});
  REQUIRE(findings.known.size() == 1);
  CHECK(findings.known.front().other_settings);
  auto misread = recorded(plain, plain.line, plain.pressed);
  misread.presses[1].shown = *learn::read_shown("-3.071 mm");
  CHECK(learn::learn(misread, {dialect_of(known_toml)}, {}).known.empty());
}

TEST_CASE("a dialect whose values are asked for by register is no candidate") {
  auto asked = std::make_shared<Dialect>(*dialect_of(known_toml));
  asked->plan = nullptr;
  const Gauge plain = gauge_named("sign, fixed digits, CR");
  CHECK(learn::learn(recorded(plain, plain.line, plain.pressed), {asked}, {}).known.empty());
}

TEST_CASE("a recording is written and read again, and makes a replay log that its dialect reads") {
  const Gauge gauge = gauge_named("channel and unit");
  const auto recording = recorded(gauge, gauge.line, gauge.pressed);
  const auto again = learn::read_recording(learn::recording_text(recording), "heard");
  REQUIRE(again.has_value());
  REQUIRE(again->presses.size() == recording.presses.size());
  for (std::size_t i = 0; i < recording.presses.size(); ++i) {
    CHECK(again->presses[i].bytes() == recording.presses[i].bytes());
    CHECK(again->presses[i].shown_text == recording.presses[i].shown_text);
    CHECK(again->presses[i].line == recording.presses[i].line);
  }
  const auto findings = learn::learn(*again, {}, {"our-gauge", "2026-11-25"});
  REQUIRE(!findings.proposals.empty());
  const auto& proposal = findings.proposals.front();
  const auto log_text = learn::replay_log_text(proposal.presses, "our-gauge", proposal.line, "2026-11-25");
  const auto log = read_replay_log(log_text, "good.log");
  REQUIRE_MESSAGE(log.has_value(), log_text);
  CHECK(log->source == "recorded");
  std::size_t read = 0;
  for (const auto& event : replay(*log, dialect_of(proposal.toml)))
    read += event.decoded() != nullptr ? 1U : 0U;
  CHECK(read == recording.presses.size());
  // A replay log is a recording too, its shown values given to its presses.
  const auto from_log = learn::read_recording(log_text, "good.log");
  REQUIRE(from_log.has_value());
  CHECK(from_log->note.empty());
  CHECK(from_log->presses.size() == recording.presses.size());
  CHECK(!learn::learn(*from_log, {}, {}).proposals.empty());
}

TEST_CASE("what a display shows, as people write it") {
  const auto shown = [](const char* text) {
    const auto read = learn::read_shown(text);
    return read
               ? read->number() + "|" + (read->unit ? std::string(read->unit->name()) : "") + "|" +
                     (read->status ? std::string(name(*read->status)) : "") + "|" + read->channel.value_or("")
               : read.error().code;
  };
  CHECK(shown("12.345 mm") == "12.345|mm||");
  CHECK(shown(" -0,5  in low_battery ") == "-0.5|in|low_battery|");
  CHECK(shown("+.5 mm") == "0.5|mm||");
  CHECK(shown("2: 12.3 um") == "12.3|um||2");
  CHECK(shown("over_range") == "||over_range|");
  CHECK(shown("12.345") == "12.345|||");
  for (const auto text : {"", "mm", "12.3.4 mm", "12.345 millimetre", "ok", "12. mm", "1 2 mm"})
    CHECK_MESSAGE(shown(text) == "not_shown", text);
}

TEST_CASE("a log of heard bytes that is wrong says where") {
  const auto fault = [](const std::string& text) {
    const auto read = learn::read_recording(text, "heard.log");
    REQUIRE(!read.has_value());
    CHECK(!read.error().front().hint.empty());
    return read.error().front().code + " " + read.error().front().where;
  };
  CHECK(fault("line 9600 8X1\n0 rx 41\n") == "bad_heard_log heard.log:1");
  CHECK(fault("line 9600 8N1\n\n0 rx 4\n") == "bad_heard_log heard.log:3");
  CHECK(fault("line 9600 8N1\n5 rx 41\n4 rx 42\n") == "bad_heard_log heard.log:3");
  CHECK(fault("line 9600 8N1\n0 rx 41\nshown twelve\n") == "bad_heard_log heard.log:3");
  CHECK(fault("shown 12.345 mm\n") == "bad_heard_log heard.log:1");
  CHECK(fault("dialect: x\nport: fast\nshown: 1 mm\ndate: 2026-11-25\nsource: invented\n\n0 rx 41\n") ==
        "bad_replay_log heard.log");
}
