// Frames of Modbus RTU and Modbus TCP: requests made, requests and replies taken apart. Pure.
//
//   RTU   unit address, function, data, CRC-16 (low byte first); at most 256 bytes
//   TCP   transaction (2 bytes), protocol 0 (2), length (2), unit address, function, data; at most 260 bytes
//
// Sources: "MODBUS over serial line specification and implementation guide V1.02" (RTU frames, CRC), "MODBUS
// application protocol specification V1.1b3" (functions 3 and 4, exception codes), "MODBUS messaging on
// TCP/IP implementation guide V1.0b" (the header), all of modbus.org; from memory.
#pragma once

#include <chrono>
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>

namespace tallystick::decode {

inline constexpr std::size_t longest_rtu_frame = 256;
inline constexpr std::size_t longest_tcp_frame = 260;
inline constexpr std::size_t tcp_header = 6;  ///< up to and with the length, which counts what follows
inline constexpr int most_registers = 125;    ///< that one request can read

/// "Read so many registers": what we ask.
struct RegisterRequest {
  std::uint16_t transaction = 0;  ///< TCP only
  int unit_address = 1;
  std::uint8_t function = 3;
  std::uint16_t address = 0, count = 1;
  bool operator==(const RegisterRequest&) const = default;

  std::size_t data_bytes() const { return 2U * count; }
};

std::string rtu_frame(const RegisterRequest& request);
std::string tcp_frame(const RegisterRequest& request);
/// A request as it stands in a recording. Nothing where it is none that reads registers.
std::optional<RegisterRequest> rtu_request(std::string_view frame);
std::optional<RegisterRequest> tcp_request(std::string_view frame);

/// The CRC as it stands at the end of an RTU frame, low byte first.
std::string rtu_crc(std::string_view bytes);
/// True where the last two bytes are the CRC of the others.
bool rtu_crc_holds(std::string_view frame);

/// The silence between two frames, which the line is left before a request: 3.5 characters of 11 bits, and
/// 1.75 ms above 19200 baud.
std::chrono::nanoseconds rtu_silence(int baud);

/// Bytes `at` and `at` + 1, high byte first.
std::uint16_t word_at(std::string_view bytes, std::size_t at);

/// An exception reply's code in words: "exception 2, illegal data address".
std::string exception_words(std::uint8_t code);
/// The device asks for patience (codes 5 and 6): asking again may help.
bool exception_passes(std::uint8_t code);

}  // namespace tallystick::decode
