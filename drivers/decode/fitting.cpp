#include "drivers/decode/fitting.hpp"

#include "drivers/decode/modbus_map.hpp"

namespace tallystick {

std::optional<Error> misfit(const Dialect& dialect, std::string_view driver) {
  const bool modbus = driver.starts_with("modbus-");
  if (modbus && !dialect.modbus)
    return Error{"no_register_map", "its dialect " + dialect.name + " has no register map ([modbus])", {},
                 "use a dialect with [[modbus.register]], or another driver"};
  if (!modbus && dialect.modbus)
    return Error{"no_register_map",
                 "its dialect " + dialect.name + " is a register map, and the driver is " + std::string(driver),
                 {}, "write driver = \"modbus-rtu\" (serial line) or \"modbus-tcp\""};
  if (driver == "tcp" && dialect.framing.by == CutBy::idle_gap)
    return Error{"no_pauses",
                 "its dialect " + dialect.name + " ends a frame by a pause, and a network keeps none", {},
                 "use a dialect with a terminator, end bytes or a length"};
  if (driver == "folder" && dialect.speaks != Speaks::pushed)
    return Error{"contradiction", "its dialect " + dialect.name + " is for gauges that are asked or stream", {},
                 "files are written by whoever measures: use a dialect with speaks = \"pushed\""};
  return {};
}

std::optional<Error> misfit_of_register(const Dialect& dialect, std::string_view driver,
                                        std::string_view channel, Unit shown) {
  const auto point = modbus_point(*dialect.modbus, channel);
  if (!point) return point.error();
  if (driver == "modbus-rtu" && (point->unit_address < 1 || point->unit_address > 247))
    return Error{"wrong_value",
                 "unit address " + std::to_string(point->unit_address) + " is none of a serial line's devices",
                 {}, "write the address that is set at the device, from 1 to 247"};
  const auto& one = dialect.modbus->registers[point->place];
  if (one.unit != shown)
    return Error{"wrong_unit",
                 "the gauge shows " + std::string(shown.name()) + ", but register " + one.name + " of dialect " +
                     dialect.name + " is in " + std::string(one.unit.name()),
                 {}, "write the unit that the register map states"};
  return {};
}

}  // namespace tallystick
