// Checksums and times on the line against published values; the source stands beside each.
#include <doctest/doctest.h>

#include "drivers/decode/checksum.hpp"
#include "drivers/decode/dialect.hpp"
#include "drivers/decode/replay_log.hpp"
#include "tests/reference/csv_rows.hpp"

using namespace tallystick;
using namespace tallystick::decode;

TEST_CASE("CRC-16 of Modbus RTU, tests/reference/data/modbus_crc_vectors.csv") {
  Checksum checksum;
  checksum.kind = ChecksumKind::crc;
  checksum.crc = *crc_named("crc-16-modbus");
  checksum.written_as_hex = false;
  checksum.low_byte_first = true;
  for (const auto& row : reference::rows("modbus_crc_vectors.csv")) {
    const std::string bytes = *bytes_of_hex(row.at("bytes_hex"));
    const std::string on_the_wire = *bytes_of_hex(row.at("on_the_wire_low_byte_first"));
    CHECK_MESSAGE(crc_of(bytes, checksum.crc) == std::stoul(row.at("crc_hex"), nullptr, 16), row.at("case"));
    CHECK_MESSAGE(checksum.of(bytes) == on_the_wire, row.at("case"));
    CHECK(checksum.matches(bytes, on_the_wire));
    std::string flipped = bytes;
    flipped.front() = static_cast<char>(flipped.front() ^ 1);
    CHECK(!checksum.matches(flipped, on_the_wire));
  }
}

TEST_CASE("check values of \"123456789\"") {
  // The check column of the public catalogue of parametrised CRC algorithms (CRC-8/SMBUS, CRC-16/MODBUS,
  // CRC-16/XMODEM, CRC-16/IBM-3740, CRC-32/ISO-HDLC): 4B37 also in modbus_crc_vectors.csv, the others from
  // memory. CRC-32 and the XMODEM form are held against Python's binascii in tests/decode/test_decode.py.
  const auto check = [](std::string_view name) { return crc_of("123456789", *crc_named(name)); };
  CHECK(check("crc-8") == 0xF4);
  CHECK(check("crc-16-modbus") == 0x4B37);
  CHECK(check("crc-16-xmodem") == 0x31C3);
  CHECK(check("crc-16-ccitt-false") == 0x29B1);
  CHECK(check("crc-32") == 0xCBF43926);
  CHECK(!crc_named("crc-64"));
}

TEST_CASE("sum, its complement, exclusive or") {
  // ISO 1155 (longitudinal check, exclusive or of all characters) and the two's complement sum that Modbus
  // ASCII prints: rules from memory, numbers worked out by hand.
  Checksum checksum;
  checksum.kind = ChecksumKind::exclusive_or;
  CHECK(checksum.of("ABC") == "40");  // 41 ^ 42 ^ 43
  checksum.kind = ChecksumKind::sum;
  CHECK(checksum.of("ABC") == "C6");  // 41 + 42 + 43
  checksum.kind = ChecksumKind::sum_complement;
  CHECK(checksum.of("ABC") == "3A");  // 100 - C6
  CHECK(checksum.of("") == "00");
  CHECK(checksum.matches("ABC", "3a"));
  CHECK(!checksum.matches("ABC", "3"));
  CHECK(!checksum.matches("ABC", "3A "));
}

TEST_CASE("the default idle gap is 3.5 characters, tests/reference/data/modbus_rtu_timing.csv") {
  for (const auto& row : reference::rows("modbus_rtu_timing.csv")) {
    PortSettings port;
    port.baud = std::stoi(row.at("baud"));
    port.parity = Parity::even;  // 8 data bits, parity and one stop bit: 11 bits a character
    const double character_us = static_cast<double>(port.character_time().count()) / 1000;
    CHECK(character_us == doctest::Approx(std::stod(row.at("char_us_11bit"))).epsilon(1e-5));
    if (port.baud > 19200) continue;  // there the guide fixes the time, and a dialect states idle_gap_ms
    const auto dialect =
        read_dialect("name = \"t\"\n[port]\nbaud = " + row.at("baud") +
                         "\nparity = \"even\"\n[frame]\ncut_by = \"idle_gap\"\n[value]\npattern = "
                         "'(?P<value>\\d)'\n[unit]\nunit = \"mm\"\n[talk]\nspeaks = \"pushed\"\n",
                     "t");
    REQUIRE(dialect);
    const double gap_us = static_cast<double>(dialect->framing.idle_gap.count()) / 1000;
    CHECK(gap_us == doctest::Approx(std::stod(row.at("t3_5_us"))).epsilon(1e-5));
  }
}
