// From registers to a value. Pure.
//
// Whole numbers are exact: number in the register times the scale. A 32-bit floating-point number (IEEE 754
// binary32) is taken as the shortest decimal that reads back as the same number, times the scale, rounded to
// the dialect's `decimals`, half to even. So 12.345 that a device holds as 12.3450002670... is 12.345; but
// what the device itself rounded to 24 bits stays rounded: of 25.000 mm it holds steps of 0.0000019 mm, and
// that is the device's word. Declare no more decimals than its display shows. Not a number and infinity are
// refused as out_of_range.
#pragma once

#include <optional>
#include <string_view>

#include "drivers/decode/modbus_map.hpp"
#include "drivers/decode/number.hpp"

namespace tallystick::decode {

/// `registers`: the bytes of a reply, first() to first() + count(). Nothing: `out` is filled but for its
/// channel; else why there is no reading.
std::optional<Refusal> read_registers(const ModbusRegister& how, std::string_view registers, Decoded& out);

/// The number of binary32 bits times 10^-scale, rounded: see above.
std::optional<Refusal> read_float32(std::uint32_t bits, const ModbusRegister& how, Number& out);

}  // namespace tallystick::decode
