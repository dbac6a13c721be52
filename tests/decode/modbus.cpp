// Register maps: how registers become values, and which bytes answer a request. Invented values; the CRC and
// the frames of the specification are in tests/reference.
#include <doctest/doctest.h>

#include "drivers/decode/decoder.hpp"
#include "drivers/decode/modbus_frame.hpp"
#include "drivers/decode/modbus_value.hpp"
#include "drivers/decode/replay_log.hpp"

using namespace tallystick;
using namespace tallystick::decode;

namespace {

const std::string head = "name = \"r\"\n[port]\nbaud = 19200\nparity = \"even\"\n";
const std::string tail = "[talk]\nspeaks = \"asked\"\n";

std::string one_register(const std::string& more) {
  return head + "[modbus]\n[[modbus.register]]\nname = \"v\"\nunit = \"mm\"\n" + more + tail;
}

std::shared_ptr<const Dialect> dialect(const std::string& toml) {
  auto read = read_dialect(toml, "r.dialect.toml");
  if (!read) MESSAGE(text(read.error().front()));
  REQUIRE(read.has_value());
  return std::make_shared<const Dialect>(*std::move(read));
}

std::string bytes(std::string_view hex) { return bytes_of_hex(hex).value(); }

/// What the registers mean: "12.345", or the refusal's reason.
std::string value(const std::string& how, std::string_view hex) {
  const auto read = dialect(one_register("address = 0\n" + how));
  Decoded out;
  const auto refusal = read_registers(read->modbus->registers[0], bytes(hex), out);
  if (refusal) return std::string(name(refusal->reason));
  CHECK(out.quantity == Quantity::parse(out.value_text, *Unit::named("mm")).value());
  return out.value_text;
}

std::string with_crc(std::string_view hex) { return bytes(hex) + rtu_crc(bytes(hex)); }

/// One register of function 4 at address 0, asked at 1 s.
struct Line {
  std::shared_ptr<const Dialect> how =
      dialect(one_register("address = 0\nfunction = \"input\"\ntype = \"int16\"\nscale = \"0.001\"\n"));
  Decoder decoder{how};
  std::vector<DecodeEvent> all;
  void keep(std::vector<DecodeEvent> more) {
    for (auto& event : more) all.push_back(std::move(event));
  }
  void ask(std::int64_t at_us, int unit = 1) {
    keep(decoder.sent(rtu_frame({0, unit, 4, 0, 1}), replay_stamp(at_us)));
  }
  void hear(std::int64_t at_us, std::string_view what) { keep(decoder.feed(what, replay_stamp(at_us))); }
  void silence() { keep(decoder.gap(replay_stamp(9'000'000))); }
  std::string said() const {
    std::string out;
    for (const auto& event : all)
      out += (out.empty() ? "" : " ") +
             (event.decoded() ? event.decoded()->value_text : std::string(name(event.refusal()->reason)));
    return out;
  }
};

}  // namespace

TEST_CASE("whole numbers are exact: the register's number times the scale") {
  CHECK(value("type = \"int16\"\nscale = \"0.001\"\n", "30 39") == "12.345");
  CHECK(value("type = \"int16\"\nscale = \"0.001\"\n", "ff f9") == "-0.007");
  CHECK(value("type = \"uint16\"\nscale = \"0.001\"\n", "ff f9") == "65.529");
  CHECK(value("type = \"int16\"\n", "80 00") == "-32768");
  CHECK(value("type = \"int32\"\nscale = \"0.0001\"\n", "00 03 d1 0b") == "25.0123");
  CHECK(value("type = \"int32\"\nscale = \"0.0001\"\nword_order = \"low_first\"\n", "d1 0b 00 03") == "25.0123");
  CHECK(value("type = \"int32\"\nscale = \"0.0001\"\n", "ff ff ff fb") == "-0.0005");
  CHECK(value("type = \"uint32\"\nscale = \"0.000001\"\n", "ff ff ff ff") == "4294.967295");
  CHECK(value("type = \"int16\"\nscale = \"0.0025\"\n", "00 0a") == "0.0250");
  CHECK(value("type = \"int16\"\nscale = \"-0.001\"\n", "00 0a") == "-0.010");
  CHECK(value("type = \"int16\"\nscale = \"25.4\"\n", "00 03") == "76.2");
  CHECK(value("type = \"int16\"\nno_value = [\"32767\"]\n", "7f ff") == "out_of_range");
}

TEST_CASE("floating point is the shortest decimal that reads back, at the declared decimals, half to even") {
  // Bits by Python's struct.pack(">f", ...): an independent IEEE 754 implementation.
  const std::string three = "type = \"float32\"\ndecimals = 3\n", four = "type = \"float32\"\ndecimals = 4\n";
  CHECK(value(three, "41 45 85 1f") == "12.345");     // holds 12.3450002670288
  CHECK(value(four, "41 45 85 1f") == "12.3450");
  CHECK(value(three, "c1 45 85 1f") == "-12.345");
  CHECK(value(three, "3a 83 12 6f") == "0.001");      // holds 0.00100000004749745
  CHECK(value(three, "3a 03 12 6f") == "0.000");      // 0.0005: half, to the even 0
  CHECK(value(three, "3a c4 9b a6") == "0.002");      // 0.0015: half, to the even 2
  CHECK(value(three, "3a 03 12 70") == "0.001");      // the next number above 0.0005
  CHECK(value(three, "80 00 00 00") == "0.000");      // no negative zero
  CHECK(value(three, "00 00 00 01") == "0.000");      // the least number of all, 1.4e-45
  CHECK(value(three, "7f 7f ff ff") == "out_of_range");
  CHECK(value(three, "7f c0 00 00") == "out_of_range");  // not a number
  CHECK(value(three, "7f 80 00 00") == "out_of_range");  // infinity
  CHECK(value(three, "ff 80 00 00") == "out_of_range");
  CHECK(value("type = \"float32\"\ndecimals = 0\n", "4b 18 96 80") == "10000000");
  CHECK(value("type = \"float32\"\ndecimals = 4\nscale = \"25.4\"\n", "3f 80 00 00") == "25.4000");
  CHECK(value("type = \"float32\"\ndecimals = 3\nword_order = \"low_first\"\n", "85 1f 41 45") == "12.345");
}

TEST_CASE("a status register is read with the value and decides whether there is one") {
  const std::string bits = "type = \"int16\"\nstatus_address = 1\n"
                           "status_bits = { \"0\" = \"over_range\", \"3\" = \"low_battery\", \"15\" = \"error\" }\n";
  CHECK(value(bits, "00 07 00 00") == "7");
  CHECK(value(bits, "00 07 00 01") == "out_of_range");
  CHECK(value(bits, "00 07 00 08") == "7");
  CHECK(value(bits, "00 07 80 09") == "not_a_number");  // the worst counts
  CHECK(value(bits, "00 07 00 02") == "7");             // a bit without a meaning
  const std::string words = "type = \"int16\"\nstatus_address = 1\nstatus_words = { \"0\" = \"ok\", \"2\" = "
                            "\"under_range\" }\n";
  CHECK(value(words, "00 07 00 00") == "7");
  CHECK(value(words, "00 07 00 02") == "out_of_range");
  CHECK(value(words, "00 07 00 01") == "unknown_status");
}

TEST_CASE("only the answer to what was asked is a reading") {
  const std::string good = with_crc("01 04 02 30 39");
  SUBCASE("whole or byte by byte") {
    Line line;
    line.ask(1'000'000);
    for (const char byte : good) line.hear(1'010'000, std::string(1, byte));
    CHECK(line.said() == "12.345");
    CHECK(line.all[0].decoded()->channel == "1/v");
    CHECK(line.all[0].frame.bytes == good);
  }
  SUBCASE("nothing asked, or answered already") {
    Line line;
    line.hear(900'000, good);
    line.ask(1'000'000);
    line.hear(1'010'000, good);
    line.hear(1'200'000, good);
    line.silence();
    CHECK(line.said() == "not_mine 12.345 not_mine");
  }
  SUBCASE("another device, another function, another count") {
    for (const auto* hex : {"02 04 02 30 39", "01 03 02 30 39", "01 04 04 30 39 00 00"}) {
      Line line;
      line.ask(1'000'000);
      line.hear(1'010'000, with_crc(hex));
      line.silence();
      CHECK_MESSAGE(line.said() == "not_mine", hex);
    }
  }
  SUBCASE("every bit counts") {
    for (std::size_t bit = 0; bit < 8 * good.size(); ++bit) {
      Line line;
      line.ask(1'000'000);
      std::string broken = good;
      broken[bit / 8] = static_cast<char>(broken[bit / 8] ^ (1 << bit % 8));
      line.hear(1'010'000, broken);
      line.silence();
      CHECK_MESSAGE(line.said().find("12.345") == std::string::npos, bit);
      CHECK_MESSAGE(line.said().find_first_of("0123456789") == std::string::npos, bit);
    }
  }
  SUBCASE("a silence inside ends it, a broken frame spoils what follows without one") {
    Line line;
    line.ask(1'000'000);
    line.hear(1'010'000, good.substr(0, 3));
    line.hear(1'100'000, good.substr(3));
    line.silence();
    CHECK(line.said() == "incomplete incomplete");
    Line other;
    other.ask(1'000'000);
    other.hear(1'010'000, "\x55" + good);
    other.silence();
    CHECK(other.said() == "bad_checksum");
  }
  SUBCASE("an echo of the request is passed over") {
    Line line;
    line.ask(1'000'000);
    line.hear(1'001'000, rtu_frame({0, 1, 4, 0, 1}) + good);
    CHECK(line.said() == "not_mine 12.345");
  }
}

TEST_CASE("what a device declines is told in words, and whether asking again may help") {
  Line line;
  line.ask(1'000'000);
  line.hear(1'010'000, with_crc("01 84 02"));
  line.ask(2'000'000);
  line.hear(2'010'000, with_crc("01 84 06"));
  REQUIRE(line.said() == "declined declined");
  CHECK(line.all[0].refusal()->detail.find("exception 2, illegal data address") == 0);
  CHECK(line.all[0].refusal()->reply_to == ReplyTo::present);
  CHECK(line.all[1].refusal()->detail == "exception 6, device busy");
  CHECK(line.all[1].refusal()->reply_to == ReplyTo::unknown);
}

TEST_CASE("over TCP the transaction number tells which request is answered") {
  const auto how = modbus_over_tcp(Line().how);
  Decoder decoder(how);
  const auto reply = [](std::uint16_t transaction) {
    return std::string{'\0', static_cast<char>(transaction)} + bytes("00 00 00 05 01 04 02 30 39");
  };
  const auto ask = [&](std::uint16_t transaction, std::int64_t at) {
    CHECK(decoder.sent(tcp_frame({transaction, 1, 4, 0, 1}), replay_stamp(at)).empty());
  };
  ask(1, 1'000'000);
  decoder.given_up();
  ask(2, 2'000'000);
  auto events = decoder.feed(reply(1) + reply(7) + reply(2), replay_stamp(2'010'000));
  REQUIRE(events.size() == 3);
  CHECK(events[0].refusal()->reply_to == ReplyTo::earlier);
  CHECK(events[1].refusal()->reply_to == ReplyTo::unknown);
  REQUIRE(events[2].decoded() != nullptr);
  CHECK(events[2].decoded()->value_text == "12.345");
  // A second answer to the same request is none.
  events = decoder.feed(reply(2), replay_stamp(2'020'000));
  REQUIRE(events.size() == 1);
  CHECK(events[0].refusal() != nullptr);
  // Bytes that cannot begin a header are passed over, and the reply behind them counts.
  ask(3, 3'000'000);
  events = decoder.feed("HTTP/1.1 400\r\n" + reply(3), replay_stamp(3'010'000));
  REQUIRE(events.size() == 2);
  CHECK(events[0].refusal()->reason == RefusalReason::not_mine);
  CHECK(events[1].decoded() != nullptr);
}

TEST_CASE("a channel names device and register") {
  const auto two = dialect(head +
                           "[modbus]\nunit_address = 9\n[[modbus.register]]\nname = \"a\"\naddress = 0\ntype = "
                           "\"int16\"\nunit = \"mm\"\n[[modbus.register]]\nname = \"b\"\naddress = 1\ntype = "
                           "\"int16\"\nunit = \"mm\"\n" +
                           tail);
  const auto& map = *two->modbus;
  CHECK(modbus_point(map, "3/b") == ModbusPoint{3, 1});
  CHECK(modbus_point(map, "b") == ModbusPoint{9, 1});
  CHECK(modbus_channel(map, {3, 1}) == "3/b");
  CHECK(modbus_point(map, "3").error().code == "missing_key");
  CHECK(modbus_point(map, "").error().code == "missing_key");
  CHECK(modbus_point(map, "c").error().code == "unknown_register");
  CHECK(modbus_point(map, "256/a").error().code == "wrong_value");
  CHECK(modbus_point(map, "x/a").error().code == "wrong_value");
  CHECK(modbus_point(map, "/a").error().code == "wrong_value");
  const auto one = dialect(one_register("address = 0\ntype = \"int16\"\n"));
  CHECK(modbus_point(*one->modbus, "") == ModbusPoint{1, 0});
  CHECK(modbus_point(*one->modbus, "17") == ModbusPoint{17, 0});
}

TEST_CASE("what a register map has wrong is told with line and remedy") {
  const auto code = [](const std::string& toml) {
    const auto read = read_dialect(toml, "r.dialect.toml");
    if (read) return std::string("sound");
    for (const auto& fault : read.error()) {
      CHECK(fault.where.find("r.dialect.toml:") == 0);
      CHECK_MESSAGE(!fault.hint.empty(), fault.what);
    }
    return read.error().front().code;
  };
  const auto with = [&](const std::string& more) { return code(one_register(more)); };
  CHECK(with("address = 0\ntype = \"int16\"\n") == "sound");
  CHECK(with("type = \"int16\"\n") == "missing_key");
  CHECK(with("address = 0\n") == "missing_key");
  CHECK(with("address = 65536\ntype = \"int16\"\n") == "wrong_value");
  CHECK(with("address = 65535\ntype = \"int32\"\n") == "wrong_value");
  CHECK(with("address = 0\ntype = \"int24\"\n") == "wrong_value");
  CHECK(with("address = 0\ntype = \"float32\"\n") == "missing_key");
  CHECK(with("address = 0\ntype = \"int16\"\ndecimals = 3\n") == "contradiction");
  CHECK(with("address = 0\ntype = \"int16\"\nword_order = \"low_first\"\n") == "contradiction");
  CHECK(with("address = 0\ntype = \"int16\"\nscale = 0.001\n") == "wrong_type");
  CHECK(with("address = 0\ntype = \"int16\"\nscale = \"0\"\n") == "wrong_value");
  CHECK(with("address = 0\ntype = \"int16\"\nstatus_address = 3\n") == "contradiction");
  CHECK(with("address = 0\ntype = \"int16\"\nstatus_address = 200\nstatus_bits = { \"0\" = \"error\" }\n") ==
        "wrong_value");
  CHECK(with("address = 0\ntype = \"int16\"\nstatus_address = 65535\nstatus_bits = { \"0\" = \"error\" }\n") ==
        "wrong_value");
  CHECK(with("address = 0\ntype = \"int16\"\nstatus_address = 3\nstatus_bits = { \"16\" = \"error\" }\n") ==
        "wrong_value");
  CHECK(with("address = 0\ntype = \"int16\"\nadress = 3\n") == "unknown_key");
  CHECK(code(head + "[modbus]\n" + tail) == "missing_key");
  CHECK(code(one_register("address = 0\ntype = \"int16\"\n") + "[ask]\nrequest = \"x\"\n") == "contradiction");
  CHECK(code(one_register("address = 0\ntype = \"int16\"\n") + "[frame]\ncut_by = \"idle_gap\"\n") ==
        "contradiction");
  auto pushed = one_register("address = 0\ntype = \"int16\"\n");
  pushed.replace(pushed.find("asked"), 5, "pushed");
  CHECK(code(pushed) == "contradiction");
}
