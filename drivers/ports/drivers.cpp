// The table of drivers: one line each, sorted.
#include <array>

#include "drivers/ports/folder_port.hpp"
#include "drivers/ports/gauge.hpp"
#include "drivers/ports/keyboard_port.hpp"
#include "drivers/ports/modbus_port.hpp"
#include "drivers/ports/serial_port.hpp"
#include "drivers/ports/tcp_port.hpp"

namespace tallystick::ports {
namespace {

struct Row {
  std::string_view name;
  std::shared_ptr<Driver> (*make)(const PortConfig&, const Surroundings&);
};

constexpr std::array table{
    Row{"folder",
        [](const PortConfig& config, const Surroundings& around) -> std::shared_ptr<Driver> {
          return std::make_shared<FolderPort>(config, around);
        }},
    Row{"keyboard",
        [](const PortConfig& config, const Surroundings& around) -> std::shared_ptr<Driver> {
          return std::make_shared<KeyboardPort>(config, around);
        }},
    Row{"modbus-rtu",
        [](const PortConfig& config, const Surroundings& around) -> std::shared_ptr<Driver> {
          return std::make_shared<ModbusRtuPort>(config, around);
        }},
    Row{"modbus-tcp",
        [](const PortConfig& config, const Surroundings& around) -> std::shared_ptr<Driver> {
          return std::make_shared<ModbusTcpPort>(config, around);
        }},
    Row{"serial",
        [](const PortConfig& config, const Surroundings& around) -> std::shared_ptr<Driver> {
          return std::make_shared<SerialPort>(config, around);
        }},
    Row{"tcp",
        [](const PortConfig& config, const Surroundings& around) -> std::shared_ptr<Driver> {
          return std::make_shared<TcpPort>(config, around);
        }},
};

}  // namespace

Expected<std::shared_ptr<Driver>> make_driver(const PortConfig& config, const Surroundings& surroundings) {
  std::string known;
  for (const auto& row : table) {
    if (row.name == config.driver) return row.make(config, surroundings);
    known += (known.empty() ? "" : ", ") + std::string(row.name);
  }
  return fail("unknown_driver", "there is no driver \"" + config.driver + "\"", "port " + config.name,
              "drivers are: " + known);
}

}  // namespace tallystick::ports
