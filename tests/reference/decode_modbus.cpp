// Frames of Modbus against published ones; the source stands beside each.
#include <doctest/doctest.h>

#include "drivers/decode/modbus_frame.hpp"
#include "drivers/decode/replay_log.hpp"
#include "tests/reference/csv_rows.hpp"

using namespace tallystick;
using namespace tallystick::decode;

TEST_CASE("RTU frames end with the CRC, low byte first, tests/reference/data/modbus_crc_vectors.csv") {
  for (const auto& row : reference::rows("modbus_crc_vectors.csv")) {
    const std::string bytes = *bytes_of_hex(row.at("bytes_hex"));
    const std::string crc = *bytes_of_hex(row.at("on_the_wire_low_byte_first"));
    CHECK_MESSAGE(rtu_crc(bytes) == crc, row.at("case"));
    CHECK(rtu_crc_holds(bytes + crc));
    CHECK(!rtu_crc_holds(bytes + crc[1] + crc[0]));
  }
}

TEST_CASE("requests that read registers stand on the wire as they are printed") {
  // Widely printed frames (from memory; their CRC is in modbus_crc_vectors.csv): read ten holding registers
  // from 0 of unit 1, and three from 006Bh of unit 17.
  CHECK(hex_text(rtu_frame({0, 1, 3, 0, 10})) == "01030000000ac5cd");
  CHECK(hex_text(rtu_frame({0, 17, 3, 0x6B, 3})) == "1103006b00037687");
  CHECK(rtu_request(*bytes_of_hex("1103006b00037687")) == RegisterRequest{0, 17, 3, 0x6B, 3});
  // The header of "MODBUS messaging on TCP/IP implementation guide V1.0b", from memory: transaction, protocol
  // 0, length of what follows, unit.
  CHECK(hex_text(tcp_frame({0x1501, 255, 4, 1, 2})) == "150100000006ff0400010002");
  CHECK(tcp_request(*bytes_of_hex("150100000006ff0400010002")) == RegisterRequest{0x1501, 255, 4, 1, 2});
  CHECK(!rtu_request(*bytes_of_hex("1106006b00037687")));
}

TEST_CASE("the silence between two frames, tests/reference/data/modbus_rtu_timing.csv") {
  for (const auto& row : reference::rows("modbus_rtu_timing.csv")) {
    const double us = static_cast<double>(rtu_silence(std::stoi(row.at("baud"))).count()) / 1000;
    CHECK(us == doctest::Approx(std::stod(row.at("t3_5_us"))).epsilon(1e-4));
  }
}
