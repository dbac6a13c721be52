// The drivers for gauges whose values stand in registers: Modbus RTU over a serial line, and Modbus TCP. What
// is read, and how it becomes a value, stands in the dialect's register map (drivers/decode/modbus_map.hpp);
// each gauge names its register in its channel.
//
// A gauge that `streams` is asked by a timer (ask.every_ms), one that is `asked` by a person. All gauges of a
// port share its one outstanding request. On a serial line nobody else may ask: two that ask hear each
// other's replies.
#pragma once

#include "drivers/ports/serial_port.hpp"
#include "drivers/ports/tcp_port.hpp"

namespace tallystick::ports {

class ModbusRtuPort : public SerialPort {
 public:
  ModbusRtuPort(PortConfig config, const Surroundings& surroundings);

 private:
  std::string request_of(const GaugeConfig& gauge) override;
};

class ModbusTcpPort : public TcpPort {
 public:
  ModbusTcpPort(PortConfig config, const Surroundings& surroundings);

 private:
  std::string request_of(const GaugeConfig& gauge) override;

  std::uint16_t transaction_ = 0;
};

}  // namespace tallystick::ports
