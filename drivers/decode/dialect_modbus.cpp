// The part of DialectReader that is about register maps.
#include <algorithm>
#include <charconv>
#include <cstdlib>

#include "drivers/decode/dialect_reader.hpp"
#include "drivers/decode/modbus_frame.hpp"

namespace tallystick::decode {
namespace {

using std::chrono::nanoseconds;

/// Shorter silences than this may be the operating system's or an adapter's.
constexpr std::int64_t least_gap_ns = 50'000'000;
constexpr std::int64_t most_scale = 999'999'999;
constexpr int most_decimals = 12;

bool is_register_name(std::string_view text) {
  return !text.empty() && text.size() <= 40 && text.front() >= 'a' && text.front() <= 'z' &&
         std::all_of(text.begin(), text.end(), [](char c) {
           return (c >= 'a' && c <= 'z') || (c >= '0' && c <= '9') || c == '-';
         });
}

std::optional<std::int64_t> whole_of(std::string_view text) {
  std::int64_t out = 0;
  const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), out);
  if (text.empty() || error != std::errc{} || end != text.data() + text.size()) return {};
  return out;
}

std::optional<GaugeStatus> status_named(TomlFields& fields, std::string_view key, const std::string& word) {
  for (const auto status : {GaugeStatus::ok, GaugeStatus::low_battery, GaugeStatus::over_range,
                            GaugeStatus::under_range, GaugeStatus::error}) {
    if (name(status) == word) return status;
  }
  fields.fault("wrong_value", "a status means \"" + word + "\"",
               "the meanings are ok, low_battery, over_range, under_range and error", key);
  return {};
}

}  // namespace

void DialectReader::read_modbus() {
  for (const auto* key : {"frame", "value", "columns", "unit", "status", "checksum"}) {
    if (root_.has(key))
      root_.fault("contradiction",
                  "[" + std::string(key) + "] means nothing beside [modbus]: the register map says all of it",
                  "leave it out", key);
  }
  auto fields = section("modbus");
  ModbusMap map;
  map.unit_address = static_cast<int>(fields.whole("unit_address", 0, 255).value_or(1));
  const nanoseconds silence = rtu_silence(dialect_.port.baud);
  const auto gap = fields.milliseconds("idle_gap_ms", 1, 60'000);
  dialect_.framing.by = CutBy::idle_gap;
  dialect_.framing.longest = longest_tcp_frame;
  dialect_.framing.idle_gap = nanoseconds(gap.value_or(std::max(silence.count(), least_gap_ns)));
  if (gap && dialect_.framing.idle_gap < silence)
    fields.fault("wrong_value", "modbus.idle_gap_ms is shorter than the silence between two frames",
                 "leave it out, or write more than 3.5 characters take", "idle_gap_ms");
  dialect_.framing.open_gap = dialect_.framing.give_up = dialect_.framing.idle_gap;
  for (auto& table : fields.tables("register")) {
    auto one = read_register(table);
    for (const auto& other : map.registers) {
      if (one.name == other.name)
        table.fault("contradiction", "there are two registers \"" + one.name + "\"", "give each its own name",
                    "name");
      else if (one.function == other.function && one.first() == other.first() && one.count() == other.count())
        table.fault("contradiction", "register \"" + other.name + "\" is read by the same request",
                    "a register has one meaning: leave one of the two out", "address");
    }
    map.registers.push_back(std::move(one));
  }
  if (!fields.has("register"))
    fields.fault("missing_key", "the map has no register",
                 "add [[modbus.register]] with name, address, type, scale and unit");
  fields.finish();
  const auto same_unit = [&](const auto& one) { return one.unit == map.registers.front().unit; };
  if (!map.registers.empty() && std::all_of(map.registers.begin(), map.registers.end(), same_unit))
    dialect_.unit = map.registers.front().unit;
  dialect_.carries_channel = true;
  dialect_.modbus = std::make_shared<const ModbusMap>(std::move(map));
}

ModbusRegister DialectReader::read_register(TomlFields& fields) {
  ModbusRegister out;
  const auto needed = [&](std::string_view key, std::string_view hint) {
    if (!fields.has(key))
      fields.fault("missing_key", "modbus.register." + std::string(key) + " is missing", std::string(hint));
  };
  out.name = fields.text("name").value_or("");
  needed("name", "write name = \"probe\": gauges name it in their channel");
  if (fields.has("name") && !is_register_name(out.name))
    fields.fault("wrong_value", "the register's name is \"" + out.name + "\"",
                 "begin with a letter, then a-z, 0-9 and -, at most 40", "name");
  out.function = fields.word("function", {"holding", "input"}).value_or("holding") == "input"
                     ? ModbusFunction::input
                     : ModbusFunction::holding;
  needed("address", "write it as it goes over the wire: what lists call 40001 or 30001 is address 0");
  out.address = static_cast<std::uint16_t>(fields.whole("address", 0, 65535).value_or(0));
  needed("type", "write int16, uint16, int32, uint32 or float32");
  const auto type = fields.word("type", {"int16", "uint16", "int32", "uint32", "float32"}).value_or("int16");
  out.type = type == "uint16"    ? RegisterType::uint16
             : type == "int32"   ? RegisterType::int32
             : type == "uint32"  ? RegisterType::uint32
             : type == "float32" ? RegisterType::float32
                                 : RegisterType::int16;
  out.low_word_first =
      fields.word("word_order", {"high_first", "low_first"}).value_or("high_first") == "low_first";
  if (fields.has("word_order") && out.words() == 1)
    fields.fault("contradiction", "one register has no order of words", "leave word_order out", "word_order");
  if (out.words() == 2 && out.address == 65535)
    fields.fault("wrong_value", "the value's second register would be 65536", "look at the address", "address");
  read_scale(fields, out);
  needed("unit", "write unit = \"mm\": what the scaled value is in");
  if (const auto text = fields.text("unit")) {
    if (const auto unit = Unit::named(*text))
      out.unit = *unit;
    else
      fields.fault("unknown_unit", unit.error().what, unit.error().hint, "unit");
  }
  for (const auto& text : fields.texts("no_value")) {
    if (const auto number = whole_of(text))
      out.no_value.push_back(*number);
    else
      fields.fault("wrong_value", "modbus.register.no_value holds \"" + text + "\"",
                   "write whole numbers as they stand in the register, as [\"32767\"]", "no_value");
  }
  if (fields.has("no_value") && out.type == RegisterType::float32)
    fields.fault("contradiction", "no_value is for whole numbers",
                 "leave it out: not a number and infinity are refused anyway", "no_value");
  read_register_status(fields, out);
  fields.finish();
  return out;
}

void DialectReader::read_scale(TomlFields& fields, ModbusRegister& out) {
  const auto text = fields.text("scale");
  Number number;
  const bool bad = text && (read_number({}, *text, {}, number) || !number.fits || number.digits == 0 ||
                            std::abs(number.digits) > most_scale || number.decimals > most_decimals);
  if (bad) {
    fields.fault("wrong_value", "modbus.register.scale is \"" + *text + "\"",
                 "write a plain decimal of at most nine digits, as \"0.001\"", "scale");
  } else if (text) {
    out.scale_digits = number.digits;
    out.scale_decimals = number.decimals;
  }
  const bool floating = out.type == RegisterType::float32;
  const auto decimals = fields.whole("decimals", 0, most_decimals);
  out.decimals = static_cast<int>(decimals.value_or(0));
  if (floating && !fields.has("decimals"))
    fields.fault("missing_key", "a float32 register needs decimals",
                 "write how many digits behind the mark its display shows: decimals = 3", "type");
  if (!floating && fields.has("decimals"))
    fields.fault("contradiction", "decimals are for float32: a whole number has those of its scale",
                 "leave it out", "decimals");
}

void DialectReader::read_register_status(TomlFields& fields, ModbusRegister& out) {
  RegisterStatus status;
  status.address = static_cast<std::uint16_t>(fields.whole("status_address", 0, 65535).value_or(0));
  for (const auto& [text, word] : fields.map("status_bits")) {
    const auto bit = whole_of(text);
    if (!bit || *bit < 0 || *bit > 15)
      fields.fault("wrong_value", "status bit \"" + text + "\"", "bits are counted from 0 to 15", "status_bits");
    else if (const auto meaning = status_named(fields, "status_bits", word))
      status.bits[static_cast<int>(*bit)] = *meaning;
  }
  for (const auto& [text, word] : fields.map("status_words")) {
    const auto number = whole_of(text);
    if (!number || *number < 0 || *number > 65535)
      fields.fault("wrong_value", "status word \"" + text + "\"", "write a number from 0 to 65535",
                   "status_words");
    else if (const auto meaning = status_named(fields, "status_words", word))
      status.words[static_cast<std::uint16_t>(*number)] = *meaning;
  }
  const bool any = fields.has("status_bits") || fields.has("status_words");
  if (fields.has("status_bits") && fields.has("status_words"))
    fields.fault("contradiction", "status_bits and status_words both say what the status means",
                 "leave one out", "status_words");
  if (any != fields.has("status_address"))
    fields.fault("contradiction",
                 any ? "status meanings without status_address" : "status_address without any meaning",
                 "write both, or neither: status_address = 8, status_bits = { \"0\" = \"over_range\" }");
  if (!any || !fields.has("status_address")) return;
  out.status = std::move(status);
  if (out.count() > most_registers)
    fields.fault("wrong_value",
                 "value and status lie " + std::to_string(out.count()) +
                     " registers apart, and must be read by one request so that they belong together",
                 "one request reads at most 125 registers: leave the status out", "status_address");
}

void DialectReader::read_modbus_ask() {
  auto fields = section("ask");
  const bool streams = dialect_.speaks == Speaks::streams;
  if (root_.has("talk") && dialect_.speaks == Speaks::pushed)
    root_.fault("contradiction", "a register does not speak by itself",
                "write speaks = \"asked\" (by a person) or \"streams\" (asked all the time)", "talk");
  Ask ask;
  if (fields.has("request"))
    fields.fault("contradiction", "ask.request means nothing beside [modbus]: the map makes the requests",
                 "leave it out", "request");
  ask.reply_timeout = std::chrono::ceil<std::chrono::milliseconds>(
      nanoseconds(fields.milliseconds("reply_timeout_ms", 1, 600'000).value_or(500'000'000)));
  // Where it is asked all the time, the next request is the further try.
  ask.retries = static_cast<int>(fields.whole("retries", 0, 20).value_or(streams ? 0 : 1));
  ask.every = std::chrono::ceil<std::chrono::milliseconds>(
      nanoseconds(fields.milliseconds("every_ms", 0, 86'400'000).value_or(streams ? 200'000'000 : 0)));
  if (streams && ask.every.count() == 0)
    fields.fault("contradiction", "it streams, but ask.every_ms is 0", "write how often it is asked",
                 "every_ms");
  if (streams && !section("talk").has("silent_after_ms"))
    dialect_.silent_after = std::max(dialect_.silent_after, 3 * ask.every);
  ask.quiet = rtu_silence(dialect_.port.baud);
  fields.finish();
  dialect_.ask = std::move(ask);
  // A reply proves itself: it answers our own request.
  dialect_.frames_to_identify = 0;
}

}  // namespace tallystick::decode
