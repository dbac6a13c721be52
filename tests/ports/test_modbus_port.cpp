// Gauges whose values stand in registers, the far end played by the test. A real far end (libmodbus) is in
// tests/end_to_end/test_modbus_gauge.py.
#include "drivers/decode/modbus_frame.hpp"
#include "drivers/decode/replay_log.hpp"
#include "tcp_rig.hpp"

using namespace tallystick;
using namespace tallystick::ports;
using namespace tallystick::ports::test;
using namespace std::chrono_literals;

namespace {

std::string registers(const std::string& speaks, const std::string& ask = {}) {
  return R"(name = "registers"
[port]
baud = 19200
parity = "even"
[modbus]
[[modbus.register]]
name = "length"
function = "input"
address = 0
type = "int16"
scale = "0.001"
unit = "mm"
[[modbus.register]]
name = "height"
address = 5
type = "int16"
scale = "0.001"
unit = "mm"
[talk]
speaks = ")" +
         speaks + "\"\n[ask]\nreply_timeout_ms = 80\n" + ask;
}

std::string bytes(std::string_view hex) { return bytes_of_hex(hex).value(); }
std::string with_crc(std::string_view hex) { return bytes(hex) + decode::rtu_crc(bytes(hex)); }

const std::string length_request = decode::rtu_frame({0, 1, 4, 0, 1});
const std::string height_request = decode::rtu_frame({0, 3, 3, 5, 1});

struct Bus : Rig {
  Pty pty;
  std::string wrote;

  explicit Bus(const std::string& ask = {}, Speaks speaks = Speaks::asked) {
    auto config = port("p", pty.path(), dialect(registers(std::string(name(speaks)), ask)),
                       {{"length", "length", speaks}, {"height", "3/height", speaks}});
    config.driver = "modbus-rtu";
    REQUIRE(ports.add(std::move(config)).has_value());
    ports.start();
    REQUIRE(run_until_state("p", PortState::open));
  }
  /// Waits for exactly this request.
  bool requested(const std::string& request, std::chrono::milliseconds patience = 1s) {
    const bool came = run_until(
        [&] {
          wrote += pty.sent_to_gauge();
          return wrote.size() >= request.size();
        },
        patience);
    const bool right = came && wrote == request;
    wrote.clear();
    return right;
  }
};

}  // namespace

TEST_CASE("registers asked by a person: each gauge its own device and register, one request at a time") {
  Bus bus;
  REQUIRE(bus.ports.ask("length").has_value());
  REQUIRE(bus.ports.ask("height").has_value());
  REQUIRE(bus.requested(length_request));
  bus.run_for(20ms);
  CHECK(bus.pty.sent_to_gauge().empty());  // the second waits for the first's answer
  bus.pty.send(with_crc("01 04 02 30 39"));
  REQUIRE(bus.requested(height_request));
  bus.pty.send(with_crc("03 03 02 ff f9"));
  REQUIRE(bus.run_until([&] { return bus.sink.readings.size() == 2; }));
  CHECK(bus.sink.readings[0].gauge == "length");
  CHECK(bus.sink.readings[0].decoded.value_text == "12.345");
  CHECK(bus.sink.readings[0].cause == Cause::asked);
  CHECK(bus.sink.readings[0].frame.bytes == with_crc("01 04 02 30 39"));
  CHECK(bus.sink.readings[1].gauge == "height");
  CHECK(bus.sink.readings[1].decoded.value_text == "-0.007");
}

TEST_CASE("an exception reply ends the request at once and is told in words; a busy device is asked again") {
  Bus bus;
  REQUIRE(bus.ports.ask("length").has_value());
  REQUIRE(bus.requested(length_request));
  bus.pty.send(with_crc("01 84 02"));
  REQUIRE(bus.run_until([&] { return bus.sink.unanswered.size() == 1; }));
  CHECK(bus.sink.unanswered[0].code == "declined");
  CHECK(bus.sink.unanswered[0].what.find("illegal data address") != std::string::npos);
  CHECK_FALSE(bus.sink.unanswered[0].hint.empty());
  REQUIRE(bus.sink.refusals.size() == 1);
  CHECK(bus.sink.refusals[0].first == "length");
  CHECK(bus.sink.refusals[0].second.reason == RefusalReason::declined);

  REQUIRE(bus.ports.ask("length").has_value());
  REQUIRE(bus.requested(length_request));
  bus.pty.send(with_crc("01 84 06"));
  REQUIRE(bus.requested(length_request));  // after its time-out
  bus.pty.send(with_crc("01 04 02 00 01"));
  REQUIRE(bus.run_until([&] { return bus.sink.readings.size() == 1; }));
}

TEST_CASE("no answer: what was heard instead stands beside it") {
  Bus bus;
  REQUIRE(bus.ports.ask("length").has_value());
  REQUIRE(bus.requested(length_request));
  REQUIRE(bus.requested(length_request));
  bus.pty.send(with_crc("02 04 02 30 39"));
  REQUIRE(bus.run_until([&] { return bus.sink.unanswered.size() == 1; }));
  CHECK(bus.sink.unanswered[0].code == "no_reply");
  CHECK(bus.sink.unanswered[0].what.find("unit address 2 speaks, asked was 1") != std::string::npos);
  CHECK(bus.sink.readings.empty());
}

TEST_CASE("on a serial line a reply that comes after its time-out answers nothing") {
  Bus bus("retries = 0\n");
  REQUIRE(bus.ports.ask("length").has_value());
  REQUIRE(bus.requested(length_request));
  REQUIRE(bus.run_until([&] { return bus.sink.unanswered.size() == 1; }));
  REQUIRE(bus.ports.ask("length").has_value());  // waits until the line was left alone
  bus.pty.send(with_crc("01 04 02 00 63"));
  REQUIRE(bus.run_until([&] { return bus.status("p").late_replies == 1; }));
  REQUIRE(bus.requested(length_request));
  bus.pty.send(with_crc("01 04 02 00 07"));
  REQUIRE(bus.run_until([&] { return bus.sink.readings.size() == 1; }));
  CHECK(bus.sink.readings[0].decoded.value_text == "0.007");
}

TEST_CASE("streams by being asked: samples, no press; a silent device does not keep the others from it") {
  Bus bus("every_ms = 90\n", Speaks::streams);
  CHECK(bus.ports.ask("length").error().code == "not_asked");
  int answered = 0;
  const auto end = std::chrono::steady_clock::now() + 5s;
  while (answered < 4 && std::chrono::steady_clock::now() < end) {
    bus.run_for(5ms);
    if (bus.pty.sent_to_gauge() != length_request) continue;  // the other device never answers
    bus.pty.send(with_crc("01 04 02 00 07"));
    ++answered;
  }
  REQUIRE(bus.run_until([&] { return bus.sink.readings.size() == 4; }));
  for (const auto& reading : bus.sink.readings) {
    CHECK(reading.cause == Cause::streamed);
    CHECK(reading.gauge == "length");
  }
  CHECK(bus.sink.unanswered.empty());  // nobody asked
  CHECK(bus.status("p").unanswered > 0);
}

TEST_CASE("over TCP a late reply is known by its transaction number") {
  TcpRig rig;
  auto config = tcp_port("p", rig.server.port(), dialect(registers("asked", "retries = 0\n")),
                         {{"length", "1/length", Speaks::asked}});
  config.driver = "modbus-tcp";
  REQUIRE(rig.ports.add(std::move(config)).has_value());
  rig.ports.start();
  rig.connect();
  const auto request = [&] {
    std::string got;
    REQUIRE(rig.run_until([&] { return (got += rig.far.received()).size() >= 12; }));
    const auto read = decode::tcp_request(got);
    REQUIRE(read.has_value());
    CHECK(read->unit_address == 1);
    CHECK(read->function == 4);
    return read->transaction;
  };
  const auto reply = [](std::uint16_t transaction, std::string_view word) {
    return std::string{static_cast<char>(transaction >> 8U), static_cast<char>(transaction & 255U)} +
           bytes("00 00 00 05 01 04 02") + bytes(word);
  };
  REQUIRE(rig.ports.ask("length").has_value());
  const auto first = request();
  REQUIRE(rig.run_until([&] { return rig.sink.unanswered.size() == 1; }));
  REQUIRE(rig.ports.ask("length").has_value());
  const auto second = request();
  CHECK(second != first);
  rig.far.send(reply(first, "00 63"));
  REQUIRE(rig.run_until([&] { return rig.status("p").late_replies == 1; }));
  CHECK(rig.sink.readings.empty());
  rig.far.send(reply(second, "00 07"));
  REQUIRE(rig.run_until([&] { return rig.sink.readings.size() == 1; }));
  CHECK(rig.sink.readings[0].decoded.value_text == "0.007");
}

TEST_CASE("driver and dialect must fit") {
  Rig rig;
  Pty pty;
  CHECK(rig.ports.add(port("p", pty.path(), dialect(registers("asked")), {})).error().code == "no_register_map");
  auto config = port("p", pty.path(), dialect(pushed_line), {});
  config.driver = "modbus-rtu";
  CHECK(rig.ports.add(config).error().code == "no_register_map");
}
