#include "drivers/decode/modbus_frame.hpp"

#include "drivers/decode/checksum.hpp"

namespace tallystick::decode {
namespace {

std::string word_bytes(std::uint16_t word) {
  return {static_cast<char>(word >> 8U), static_cast<char>(word & 0xFFU)};
}

/// Unit address, function, first register, count.
std::string asked_for(const RegisterRequest& request) {
  std::string out{static_cast<char>(request.unit_address), static_cast<char>(request.function)};
  return out + word_bytes(request.address) + word_bytes(request.count);
}

std::optional<RegisterRequest> taken_apart(std::string_view six) {
  RegisterRequest out;
  out.unit_address = static_cast<unsigned char>(six[0]);
  out.function = static_cast<std::uint8_t>(six[1]);
  out.address = word_at(six, 2);
  out.count = word_at(six, 4);
  if ((out.function != 3 && out.function != 4) || out.count == 0 || out.count > most_registers) return {};
  return out;
}

}  // namespace

std::uint16_t word_at(std::string_view bytes, std::size_t at) {
  return static_cast<std::uint16_t>(static_cast<unsigned>(static_cast<unsigned char>(bytes[at])) << 8U |
                                    static_cast<unsigned char>(bytes[at + 1]));
}

std::string rtu_crc(std::string_view bytes) {
  static const CrcParameters parameters = crc_named("crc-16-modbus").value();
  const std::uint32_t crc = crc_of(bytes, parameters);
  return {static_cast<char>(crc & 0xFFU), static_cast<char>(crc >> 8U & 0xFFU)};
}

bool rtu_crc_holds(std::string_view frame) {
  return frame.size() > 2 && rtu_crc(frame.substr(0, frame.size() - 2)) == frame.substr(frame.size() - 2);
}

std::chrono::nanoseconds rtu_silence(int baud) {
  if (baud > 19200) return std::chrono::microseconds(1750);
  return std::chrono::nanoseconds(std::int64_t{38'500'000'000} / baud);
}

std::string rtu_frame(const RegisterRequest& request) {
  const std::string body = asked_for(request);
  return body + rtu_crc(body);
}

std::string tcp_frame(const RegisterRequest& request) {
  return word_bytes(request.transaction) + word_bytes(0) + word_bytes(6) + asked_for(request);
}

std::optional<RegisterRequest> rtu_request(std::string_view frame) {
  if (frame.size() != 8 || !rtu_crc_holds(frame)) return {};
  return taken_apart(frame);
}

std::optional<RegisterRequest> tcp_request(std::string_view frame) {
  if (frame.size() != tcp_header + 6 || word_at(frame, 2) != 0 || word_at(frame, 4) != 6) return {};
  auto out = taken_apart(frame.substr(tcp_header));
  if (out) out->transaction = word_at(frame, 0);
  return out;
}

std::string exception_words(std::uint8_t code) {
  const char* words = "a code that the specification does not know";
  switch (code) {
    case 1:
      words = "illegal function: the device cannot read this kind of register";
      break;
    case 2:
      words = "illegal data address: the device has no such register";
      break;
    case 3:
      words = "illegal data value: the device does not take this count";
      break;
    case 4:
      words = "device failure";
      break;
    case 5:
      words = "acknowledged: the device needs more time";
      break;
    case 6:
      words = "device busy";
      break;
    case 8:
      words = "memory parity error";
      break;
    case 10:
      words = "gateway path unavailable: the gateway is not set up for this unit address";
      break;
    case 11:
      words = "gateway target failed to respond: nobody answers at this unit address";
      break;
    default:
      break;
  }
  return "exception " + std::to_string(code) + ", " + words;
}

bool exception_passes(std::uint8_t code) { return code == 5 || code == 6; }

}  // namespace tallystick::decode
