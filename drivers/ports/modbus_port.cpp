#include "drivers/ports/modbus_port.hpp"

#include "drivers/decode/modbus_frame.hpp"
#include "drivers/decode/modbus_map.hpp"

namespace tallystick::ports {
namespace {

/// Channels in full, as the decoder names them.
PortConfig named_in_full(PortConfig config) {
  for (auto& gauge : config.gauges) {
    const auto point = modbus_point(*config.dialect->modbus, gauge.channel);
    if (point) gauge.channel = modbus_channel(*config.dialect->modbus, *point);
  }
  return config;
}

PortConfig over_tcp(PortConfig config) {
  config.dialect = modbus_over_tcp(config.dialect);
  return named_in_full(std::move(config));
}

decode::RegisterRequest request_for(const PortConfig& config, const GaugeConfig& gauge,
                                    std::uint16_t transaction) {
  const auto& map = *config.dialect->modbus;
  const auto point = modbus_point(map, gauge.channel).value_or(ModbusPoint{});
  const auto& one = map.registers[point.place];
  return {transaction, point.unit_address, static_cast<std::uint8_t>(one.function), one.first(),
          static_cast<std::uint16_t>(one.count())};
}

}  // namespace

ModbusRtuPort::ModbusRtuPort(PortConfig config, const Surroundings& surroundings)
    : SerialPort(named_in_full(std::move(config)), surroundings) {}

std::string ModbusRtuPort::request_of(const GaugeConfig& gauge) {
  return decode::rtu_frame(request_for(config_, gauge, 0));
}

ModbusTcpPort::ModbusTcpPort(PortConfig config, const Surroundings& surroundings)
    : TcpPort(over_tcp(std::move(config)), surroundings) {}

std::string ModbusTcpPort::request_of(const GaugeConfig& gauge) {
  return decode::tcp_frame(request_for(config_, gauge, ++transaction_));
}

}  // namespace tallystick::ports
