// A register map: which registers of a Modbus device hold which value, as a dialect states it. Pure.
//
// A gauge of such a port is one register of one device. Its channel says which: "3/probe" (unit address 3,
// register "probe"), "probe" (the dialect's own unit address), "3" (a map of one register), or nothing (one
// register, own unit address). Unit addresses are set at the devices, so they rather stand in channels; the
// dialect then serves every device of its kind.
#pragma once

#include <cstdint>
#include <map>
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "daemon/measure/error.hpp"
#include "daemon/measure/unit.hpp"
#include "drivers/decode/reading.hpp"

namespace tallystick {

/// The two ways of reading 16-bit registers; the numbers are the function codes on the wire.
enum class ModbusFunction : std::uint8_t { holding = 3, input = 4 };
enum class RegisterType : std::uint8_t { int16, uint16, int32, uint32, float32 };

/// What a register beside the value says of it. A set bit, or the whole word, has a meaning; of several set
/// bits the worst counts. With `words` a word that stands in none is refused as unknown_status.
struct RegisterStatus {
  std::uint16_t address = 0;
  std::map<int, GaugeStatus> bits;  ///< 0 is the least significant
  std::map<std::uint16_t, GaugeStatus> words;
};

struct ModbusRegister {
  std::string name;  ///< begins with a letter, then a-z, 0-9, -
  ModbusFunction function = ModbusFunction::holding;
  std::uint16_t address = 0;  ///< as it goes over the wire: the first register is 0
  RegisterType type = RegisterType::int16;
  bool low_word_first = false;  ///< of two registers; within one the high byte always comes first
  /// value = number in the register * scale_digits * 10^-scale_decimals; at most nine digits.
  std::int64_t scale_digits = 1;
  int scale_decimals = 0;
  int decimals = 0;  ///< of float32: digits behind the mark that the value is rounded to
  Unit unit;
  std::vector<std::int64_t> no_value;  ///< whole numbers in the register that mean "nothing measured"
  std::optional<RegisterStatus> status;

  int words() const { return type == RegisterType::int16 || type == RegisterType::uint16 ? 1 : 2; }
  /// What one request reads: value and status together, so that they belong together.
  std::uint16_t first() const;
  int count() const;
};

struct ModbusMap {
  int unit_address = 1;  ///< where a channel names none
  std::vector<ModbusRegister> registers;
  bool over_tcp = false;  ///< set by the driver: frames of Modbus TCP instead of RTU
};

struct Dialect;
/// The same register map with the frames and times of Modbus TCP.
std::shared_ptr<const Dialect> modbus_over_tcp(const std::shared_ptr<const Dialect>& dialect);

/// One register of one device.
struct ModbusPoint {
  int unit_address = 1;
  std::size_t place = 0;  ///< in `registers`
  bool operator==(const ModbusPoint&) const = default;
};

/// What a gauge's channel names. Errors: "unknown_register" (the hint lists them), "missing_key" (the map has
/// several and the channel names none), "wrong_value" (no unit address from 0 to 255).
Expected<ModbusPoint> modbus_point(const ModbusMap& map, std::string_view channel);

/// The channel in full, "3/probe": how readings name it.
std::string modbus_channel(const ModbusMap& map, const ModbusPoint& point);

}  // namespace tallystick
