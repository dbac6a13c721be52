// From the tables of a *.dialect.toml to a Dialect: what each key may be, and what contradicts what. Pure.
#pragma once

#include <string_view>

#include "drivers/decode/dialect.hpp"
#include "drivers/decode/modbus_map.hpp"
#include "drivers/decode/plan.hpp"
#include "drivers/decode/toml_fields.hpp"

namespace tallystick::decode {

/// The line that a fault names; 0 where it names none.
std::uint32_t line_of(const Error& fault);

/// Reads once, noting faults. What `read` returns is only a dialect where no fault was noted.
class DialectReader {
 public:
  DialectReader(const toml::table& root, std::string_view file, Faults& faults);
  Dialect read();

 private:
  TomlFields section(std::string_view key);
  void read_head();
  void read_port();
  void read_frame();
  void check_frame(TomlFields& frame);
  void check_length_byte(TomlFields& frame);
  void read_times(TomlFields& frame);
  void read_value();
  void read_columns();
  void read_binary();
  void read_binary_value(TomlFields& binary, BinaryLayout& layout);
  std::optional<BinaryBits> read_bits(TomlFields& binary, std::string_view key);
  void check_binary(TomlFields& binary, const BinaryLayout& layout);
  void read_numbers();
  void read_unit();
  void read_status();
  void read_checksum();
  void read_crc(TomlFields& checksum, const std::string& kind);
  void read_talk();
  void read_ask();
  void compile();
  // dialect_modbus.cpp
  void read_modbus();
  void read_modbus_ask();
  ModbusRegister read_register(TomlFields& fields);
  void read_scale(TomlFields& fields, ModbusRegister& out);
  void read_register_status(TomlFields& fields, ModbusRegister& out);

  TomlFields root_;
  std::string file_;
  Faults& faults_;
  Dialect dialect_;
  PlanSource source_;
  std::uint32_t value_line_ = 1;
  std::string suffix_ = "none";  ///< of [numbers]
};

}  // namespace tallystick::decode
