#include "tests/learn/shapes.hpp"

#include <array>
#include <sstream>

namespace tallystick::learn_tests {

namespace {

using Bytes = std::string;

unsigned at(const Bytes& bytes, std::size_t i) { return static_cast<unsigned char>(bytes[i]); }

unsigned sum(const Bytes& bytes) {
  unsigned out = 0;
  for (std::size_t i = 0; i < bytes.size(); ++i) out += at(bytes, i);
  return out & 0xFFU;
}
unsigned exclusive_or(const Bytes& bytes) {
  unsigned out = 0;
  for (std::size_t i = 0; i < bytes.size(); ++i) out ^= at(bytes, i);
  return out;
}
/// Bit by bit, the highest bit first (polynomials in the usual notation).
unsigned long crc(const Bytes& bytes, int bits, unsigned long polynomial, unsigned long initial) {
  unsigned long out = initial;
  const unsigned long top = 1UL << (bits - 1), all = (top << 1U) - 1;
  for (std::size_t i = 0; i < bytes.size(); ++i) {
    for (int bit = 7; bit >= 0; --bit) {
      const bool one = (at(bytes, i) >> bit & 1U) != 0;
      const bool carry = ((out & top) != 0) != one;
      out = out << 1U & all;
      if (carry) out ^= polynomial;
    }
  }
  return out;
}
/// The same with the lowest bit first, `polynomial` turned round.
unsigned long crc_low(const Bytes& bytes, unsigned long polynomial, unsigned long initial) {
  unsigned long out = initial;
  for (std::size_t i = 0; i < bytes.size(); ++i) {
    out ^= at(bytes, i);
    for (int bit = 0; bit < 8; ++bit) out = (out & 1U) != 0 ? out >> 1U ^ polynomial : out >> 1U;
  }
  return out;
}
unsigned long crc_modbus(const Bytes& bytes) { return crc_low(bytes, 0xA001, 0xFFFF); }

Bytes hex(unsigned long value, int digits) {
  static constexpr char all[] = "0123456789ABCDEF";
  Bytes out;
  for (int i = digits - 1; i >= 0; --i) out += all[value >> (4 * i) & 0xFU];
  return out;
}
Bytes byte(unsigned long value) { return Bytes(1, static_cast<char>(value & 0xFFU)); }

/// Digits without a mark, as so many decimals: "12.3" with 3 is 12300.
long long count(const Display& shown, std::size_t decimals) {
  Bytes text = shown.all();
  for (std::size_t i = shown.decimals().size(); i < decimals; ++i) text += '0';
  return std::stoll(text) * (shown.negative ? -1 : 1);
}
Bytes packed(const Bytes& digits) {
  Bytes out;
  for (std::size_t i = 0; i < digits.size(); i += 2)
    out += byte(static_cast<unsigned long>((digits[i] - '0') * 16 + digits[i + 1] - '0'));
  return out;
}
Bytes low_first(long long value, int bytes) {
  Bytes out;
  for (int i = 0; i < bytes; ++i) out += byte(static_cast<unsigned long>(value >> (8 * i)));
  return out;
}
Bytes fixed(const Display& d, std::size_t whole) {
  return padded(d.whole(), whole, '0') + "." + d.decimals();
}

const std::vector<std::string> signed_mm{"12.345 mm", "-3.070 mm", "104.500 mm"};
const std::vector<std::string> later_mm{"0.001 mm", "-27.999 mm", "250.000 mm", "-0.500 mm"};

void plain_gauges(std::vector<Gauge>& out) {
  const auto push = [](const Display& d) { return d.sign() + fixed(d, 3) + "\r"; };
  out.push_back({"sign, fixed digits, CR", line_of("9600 8N1"), push, signed_mm, later_mm});
  out.push_back({"seven bits, even parity", line_of("4800 7E1"), push, signed_mm, later_mm});
  out.push_back({"seven bits, odd parity", line_of("2400 7O1"), push, signed_mm, later_mm});
  out.push_back({"seven bits, two stop bits", line_of("1200 7N2"), push, signed_mm, later_mm});
  out.push_back({"decimal comma, free width", line_of("9600 8N1"),
                 [](const Display& d) { return d.sign("") + d.whole() + "," + d.decimals() + " mm\r\n"; },
                 signed_mm, later_mm});
  out.push_back({"no mark, leading zeros", line_of("9600 8N1"),
                 [](const Display& d) { return d.sign() + padded(d.all(), 8, '0') + "\r\n"; }, signed_mm,
                 later_mm});
  out.push_back({"no mark, free width",
                 line_of("19200 8N1"),
                 [](const Display& d) { return d.sign("") + std::to_string(std::stol(d.all())) + "\r"; },
                 signed_mm,
                 {"1.001 mm", "-27.999 mm", "250.000 mm"}});
  out.push_back({"unit in words",
                 line_of("9600 8N1"),
                 [](const Display& d) { return d.sign() + fixed(d, 3) + " " + d.unit + "\r\n"; },
                 {"12.345 mm", "-3.070 mm", "0.4860 in"},
                 {"0.001 mm", "-1.2345 in", "250.000 mm"}});
  out.push_back({"unit as a last digit, no mark",
                 line_of("9600 8N1"),
                 [](const Display& d) {
                   return d.sign() + padded(d.all(), 7, '0') + (d.unit == "mm" ? "0" : "1") + "\r";
                 },
                 {"12.345 mm", "-3.070 mm", "0.48600 in", "-1.00005 in"},
                 {"0.001 mm", "-1.23455 in", "250.000 mm"}});
  out.push_back(
      {"channel and unit",
       line_of("19200 8N1"),
       [](const Display& d) { return d.channel + "A" + d.sign() + fixed(d, 4) + " " + d.unit + "\r\n"; },
       {"01: 12.345 mm", "02: -3.070 mm", "01: 0.007 mm"},
       {"07: 12.000 mm", "02: -0.001 mm"}});
  out.push_back(
      {"status letter in columns",
       line_of("2400 7E1"),
       [](const Display& d) {
         const std::string status = d.status == "low_battery" ? "B" : d.status == "over_range" ? "H" : "N";
         const std::string value =
             d.digits.empty() ? "---.---" : d.sign(" ") + padded(d.whole(), 3, ' ') + "." + d.decimals();
         return status + " " + padded(value, 9, ' ') + " mm\r\n";
       },
       {"12.345 mm", "-3.070 mm", "104.500 mm low_battery", "over_range"},
       {"0.001 mm", "-27.999 mm", "250.000 mm low_battery"}});
  out.push_back(
      {"name in front", line_of("9600 8N1"),
       [](const Display& d) { return "BORE-2: " + d.sign("") + d.whole() + "." + d.decimals() + "\r\n"; },
       signed_mm, later_mm});
  out.push_back({"columns filled with blanks", line_of("9600 8N1"),
                 [](const Display& d) {
                   return padded(d.sign("") + d.whole() + "." + d.decimals(), 12, ' ') + "  mm\r\n";
                 },
                 signed_mm, later_mm});
  out.push_back(
      {"sign in the first column", line_of("9600 8N1"),
       [](const Display& d) { return d.sign(" ") + padded(d.whole(), 5, ' ') + "." + d.decimals() + "\r\n"; },
       signed_mm, later_mm});
  out.push_back({"sign behind", line_of("9600 8N1"),
                 [](const Display& d) { return fixed(d, 3) + d.sign() + "\r\n"; }, signed_mm, later_mm});
  out.push_back({"sign far in front", line_of("9600 8N1"),
                 [](const Display& d) { return "S" + d.sign() + "V" + fixed(d, 3) + "\n"; }, signed_mm,
                 later_mm});
  out.push_back({"exponent",
                 line_of("9600 8N1"),
                 [](const Display& d) {
                   // Three digits in front at most: 12.345 is 1.2345E+01.
                   std::string digits = std::to_string(std::stol(d.all()));
                   const int exponent =
                       static_cast<int>(digits.size()) - 1 - static_cast<int>(d.decimals().size());
                   while (digits.size() < 5) digits += '0';
                   return d.sign() + digits.substr(0, 1) + "." + digits.substr(1) + "E" +
                          (exponent < 0 ? "-" : "+") + padded(std::to_string(std::abs(exponent)), 2, '0') +
                          "\r\n";
                 },
                 {"12.345 mm", "-3.070 mm", "0.705 mm"},
                 {"0.001 mm", "-27.999 mm", "99.999 mm"}});
  out.push_back(
      {"micrometres",
       line_of("38400 8N1"),
       [](const Display& d) { return d.sign() + padded(d.whole(), 5, ' ') + "." + d.decimals() + "um\r"; },
       {"345.1 um", "-7.0 um", "12500.5 um"},
       {"0.1 um", "-99.9 um"}});
  out.push_back({"degrees",
                 line_of("9600 8N1"),
                 [](const Display& d) { return d.sign("") + d.whole() + "." + d.decimals() + " deg\r\n"; },
                 {"12.50 deg", "-90.00 deg", "0.25 deg"},
                 {"179.75 deg", "-0.25 deg"}});
  out.push_back({"inches with a quotation mark",
                 line_of("9600 8N1"),
                 [](const Display& d) { return d.sign("") + d.whole() + "." + d.decimals() + "\"\r\n"; },
                 {"0.4375 in", "-1.0000 in", "12.0005 in"},
                 {"0.0005 in", "-0.5000 in"}});
  out.push_back({"micro sign of a western character set",
                 line_of("9600 8N1"),
                 [](const Display& d) { return d.sign("") + d.whole() + "." + d.decimals() + "\xB5m\r\n"; },
                 {"12.5 um", "-0.5 um", "103.0 um"},
                 {"7.5 um", "-22.0 um"}});
}

void composed_gauges(std::vector<Gauge>& out) {
  out.push_back({"two numbers", line_of("9600 8N1"),
                 [](const Display& d) {
                   const int other = static_cast<int>(std::stol(d.all()) * 7 % 997);
                   return "X" + d.sign() + fixed(d, 3) + " Y" + (other % 2 == 0 ? "+" : "-") + "000." +
                          padded(std::to_string(other), 3, '0') + "\r\n";
                 },
                 signed_mm, later_mm});
  out.push_back({"second of two numbers, in a list", line_of("9600 8N1"),
                 [](const Display& d) {
                   const int other = static_cast<int>(std::stol(d.all()) * 13 % 89);
                   return std::to_string(other) + ".5;" + d.sign("") + d.whole() + "." + d.decimals() +
                          ";mm\r\n";
                 },
                 signed_mm, later_mm});
  auto number = std::make_shared<int>(16);
  out.push_back({"frames are numbered", line_of("9600 8N1"),
                 [number](const Display& d) {
                   return padded(std::to_string(++*number), 4, '0') + " " + d.sign() + fixed(d, 3) + "\r\n";
                 },
                 signed_mm, later_mm});
  out.push_back({"a heading line in front", line_of("9600 8N1"),
                 [](const Display& d) { return "READ\r\n" + d.sign() + fixed(d, 3) + " mm\r\n"; }, signed_mm,
                 later_mm});
  out.push_back({"no end, fixed length", line_of("9600 8N1"),
                 [](const Display& d) { return "D" + d.sign() + fixed(d, 4); }, signed_mm, later_mm});
  out.push_back({"start and end byte", line_of("9600 8O1"),
                 [](const Display& d) { return "\x02" + d.sign() + fixed(d, 3) + "mm\x03"; }, signed_mm,
                 later_mm});
  out.push_back({"a stream", line_of("115200 8N1"),
                 [](const Display& d) {
                   std::string all;
                   for (int i = 0; i < 12; ++i) all += d.sign() + fixed(d, 3) + "\r\n";
                   return all.substr(4);  // come upon midway
                 },
                 signed_mm, later_mm});
}

void checked_gauges(std::vector<Gauge>& out) {
  const auto body = [](const Display& d) { return d.sign() + fixed(d, 3); };
  const std::vector<std::string> pressed{"12.345 mm", "-3.070 mm", "104.500 mm", "7.001 mm"};
  const auto add = [&](const char* name, const char* line, std::function<std::string(const Display&)> send) {
    out.push_back({name, line_of(line), std::move(send), pressed, later_mm});
  };
  add("sum in hex behind a star", "9600 8N1",
      [=](const Display& d) { return body(d) + "*" + hex(sum(body(d)), 2) + "\r\n"; });
  add("sum complement in hex", "4800 8N1", [=](const Display& d) {
    return body(d) + " " + hex(0x100 - sum(body(d) + " "), 2).substr(0, 2) + "\r";
  });
  add("exclusive or behind the end", "9600 8N1", [=](const Display& d) {
    const std::string text = body(d) + "mm";
    return "\x02" + text + "\x03" + hex(exclusive_or(text + "\x03"), 2);
  });
  add("exclusive or behind the end, seven bits", "9600 7E1", [=](const Display& d) {
    const std::string text = "A" + body(d);
    return "\x02" + text + "\x03" + hex(exclusive_or(text), 2);
  });
  add("CRC-8 in hex, fixed length", "9600 8E1",
      [=](const Display& d) { return "#" + body(d) + hex(crc("#" + body(d), 8, 0x07, 0), 2); });
  add("CRC-16 in hex, low bit first", "19200 8N1",
      [=](const Display& d) { return body(d) + hex(crc_modbus(body(d)), 4) + "\r\n"; });
  add("CRC-16 in hex, high bit first", "19200 8N1",
      [=](const Display& d) { return body(d) + "," + hex(crc(body(d), 16, 0x1021, 0xFFFF), 4) + "\r\n"; });
  add("CRC-16 raw, no end", "19200 8N1", [=](const Display& d) {
    const auto check = crc("D" + body(d), 16, 0x1021, 0);
    return "D" + body(d) + byte(check >> 8U) + byte(check);
  });
  add("CRC-32 in hex", "57600 8N1", [=](const Display& d) {
    return body(d) + hex(crc_low(body(d), 0xEDB88320, 0xFFFFFFFF) ^ 0xFFFFFFFF, 8) + "\r\n";
  });
}

void binary_gauges(std::vector<Gauge>& out) {
  const std::vector<std::string> both{"12.345 mm", "-3.070 mm", "104.500 mm", "0.48600 in", "-1.00005 in"};
  out.push_back({"packed digits, flags, decimals said",
                 line_of("4800 8N1"),
                 [](const Display& d) {
                   const unsigned flags = (d.negative ? 0x80U : 0U) | (d.unit == "in" ? 0x40U : 0U) |
                                          static_cast<unsigned>(d.decimals().size());
                   const std::string frame = "\xA5" + byte(flags) + packed(padded(d.all(), 6, '0'));
                   return frame + byte(exclusive_or(frame));
                 },
                 both,
                 {"0.001 mm", "-27.999 mm", "-0.50000 in"}});
  out.push_back({"32 bits, low byte first, CRC-16",
                 line_of("57600 8N1"),
                 [](const Display& d) {
                   const std::string frame =
                       "\x5A\xC3\x06" + byte(static_cast<unsigned>(std::stoi(d.channel))) +
                       low_first(count(d, 4), 4) + byte(d.status == "low_battery" ? 1 : 0);
                   const auto check = crc_modbus(frame);
                   return frame + byte(check) + byte(check >> 8U);
                 },
                 {"1: 12.3450 mm", "2: -3.0700 mm", "3: 104.5000 mm low_battery", "1: 0.0007 mm"},
                 {"9: 0.0001 mm", "2: -27.9995 mm", "4: 2500.0000 mm low_battery"}});
  out.push_back({"a digit a byte, last first, sum",
                 line_of("2400 8E1"),
                 [](const Display& d) {
                   const std::string digits = padded(d.all(), 6, ' ');
                   std::string body = byte(d.negative ? 0x0D : 0x0B);
                   for (auto c = digits.rbegin(); c != digits.rend(); ++c)
                     body += byte(*c == ' ' ? 0x0FU : static_cast<unsigned>(*c - '0'));
                   body += byte(d.unit == "in" ? 2 : 1);
                   return "\xF0" + body + byte(sum(body)) + "\xF7";
                 },
                 both,
                 {"1.001 mm", "-27.999 mm", "-1.50000 in"}});
  out.push_back({"packed digits, sign in a nibble, CRC-8",
                 line_of("9600 8O1"),
                 [](const Display& d) {
                   const std::string digits = padded(d.all(), 5, '0');
                   std::string nibbles = (d.negative ? "=" : "<") + digits;  // '0' + 13, '0' + 12
                   std::string frame = "\x96";
                   for (std::size_t i = 0; i < 6; i += 2)
                     frame += byte(static_cast<unsigned>((nibbles[i] - '0') + (nibbles[i + 1] - '0') * 16));
                   return frame + byte(crc(frame, 8, 0x07, 0));
                 },
                 {"123.45 mm", "-0.07 mm", "998.01 mm", "-450.00 mm"},
                 {"0.01 mm", "-99.99 mm", "321.00 mm"}});
  out.push_back({"sign and magnitude, 24 bits",
                 line_of("9600 8N1"),
                 [](const Display& d) {
                   const auto magnitude = static_cast<unsigned long>(std::abs(count(d, 3)));
                   const std::string body = byte((magnitude >> 16U) | (d.negative ? 0x80U : 0U)) +
                                            byte(magnitude >> 8U) + byte(magnitude);
                   return "\x7E" + body + byte(sum(body));
                 },
                 {"12.345 mm", "-3.070 mm", "4104.500 mm", "-7.001 mm"},
                 {"0.001 mm", "-27.999 mm", "250.000 mm"}});
  out.push_back({"16 bits, high byte first, no check",
                 line_of("9600 8N1"),
                 [](const Display& d) {
                   const long long value = count(d, 3);
                   return "\xEE" + byte(static_cast<unsigned long>(value >> 8)) +
                          byte(static_cast<unsigned long>(value)) + "\xEF";
                 },
                 {"12.345 mm", "-3.070 mm", "32.500 mm"},
                 {"0.001 mm", "-27.999 mm", "25.000 mm"}});
}

}  // namespace

std::string Display::whole() const { return digits.substr(0, digits.find('.')); }
std::string Display::decimals() const {
  const auto point = digits.find('.');
  return point == std::string::npos ? "" : digits.substr(point + 1);
}

Display display_of(const std::string& shown) {
  Display out;
  std::istringstream words(shown);
  std::string word;
  while (words >> word) {
    if (word.back() == ':')
      out.channel = word.substr(0, word.size() - 1);
    else if (word.find_first_of("0123456789") != std::string::npos)
      out.negative = word[0] == '-', out.digits = word.substr(word[0] == '-' ? 1 : 0);
    else if (word.find('_') != std::string::npos)
      out.status = word;
    else
      out.unit = word;
  }
  return out;
}

std::string padded(const std::string& text, std::size_t width, char with) {
  return text.size() >= width ? text : std::string(width - text.size(), with) + text;
}

PortSettings line_of(const std::string& text) { return learn::settings_of(text).value(); }

std::vector<Gauge> gauges() {
  std::vector<Gauge> out;
  plain_gauges(out);
  composed_gauges(out);
  checked_gauges(out);
  binary_gauges(out);
  return out;
}

}  // namespace tallystick::learn_tests
