#include "drivers/decode/modbus_map.hpp"

#include <algorithm>
#include <charconv>

#include "drivers/decode/dialect.hpp"

namespace tallystick {
namespace {

std::string names_of(const ModbusMap& map) {
  std::string out;
  for (const auto& one : map.registers) out += (out.empty() ? "" : ", ") + one.name;
  return out;
}

bool is_number(std::string_view text) { return !text.empty() && text.front() >= '0' && text.front() <= '9'; }

}  // namespace

std::uint16_t ModbusRegister::first() const {
  return status ? std::min(address, status->address) : address;
}

int ModbusRegister::count() const {
  const int end = std::max<int>(address + words(), status ? status->address + 1 : 0);
  return end - first();
}

std::shared_ptr<const Dialect> modbus_over_tcp(const std::shared_ptr<const Dialect>& dialect) {
  auto map = std::make_shared<ModbusMap>(*dialect->modbus);
  map->over_tcp = true;
  Dialect out = *dialect;
  out.modbus = std::move(map);
  // A lost segment is sent again within this, three times: what stopped before may go on.
  out.framing.give_up = std::max<std::chrono::nanoseconds>(out.framing.give_up, std::chrono::seconds(2));
  if (out.ask) out.ask->quiet = {};
  return std::make_shared<const Dialect>(std::move(out));
}

Expected<ModbusPoint> modbus_point(const ModbusMap& map, std::string_view channel) {
  ModbusPoint out;
  out.unit_address = map.unit_address;
  const auto slash = channel.find('/');
  std::string_view unit, name;
  if (slash != std::string_view::npos) {
    unit = channel.substr(0, slash);
    name = channel.substr(slash + 1);
  } else if (is_number(channel)) {
    unit = channel;
  } else {
    name = channel;
  }
  if (slash != std::string_view::npos || !unit.empty()) {
    const auto [end, error] = std::from_chars(unit.data(), unit.data() + unit.size(), out.unit_address);
    if (unit.empty() || error != std::errc{} || end != unit.data() + unit.size() || out.unit_address < 0 ||
        out.unit_address > 255)
      return fail("wrong_value", quoted(unit) + " is no unit address", {},
                  "write the number that is set at the device, as in channel = \"3/" +
                      map.registers.front().name + "\"");
  }
  if (name.empty()) {
    if (map.registers.size() == 1) return out;
    return fail("missing_key", "the channel names no register, and there are several", {},
                "write one of: " + names_of(map));
  }
  const auto found = std::find_if(map.registers.begin(), map.registers.end(),
                                  [&](const auto& one) { return one.name == name; });
  if (found == map.registers.end())
    return fail("unknown_register", "there is no register " + quoted(name), {},
                "registers of this dialect are: " + names_of(map));
  out.place = static_cast<std::size_t>(found - map.registers.begin());
  return out;
}

std::string modbus_channel(const ModbusMap& map, const ModbusPoint& point) {
  return std::to_string(point.unit_address) + "/" + map.registers[point.place].name;
}

}  // namespace tallystick
