#include "tools/cli/tar.hpp"

#include <cstdio>
#include <cstring>

namespace tallystick::cli {

namespace {
constexpr std::size_t block = 512;

void put(std::string& header, std::size_t at, const std::string& text) {
  header.replace(at, text.size(), text);
}

std::string octal(std::uint64_t value, int digits) {
  char text[24];
  std::snprintf(text, sizeof text, "%0*llo", digits, static_cast<unsigned long long>(value));
  return text;
}
}  // namespace

void Tar::add(const std::string& name, const std::string& bytes, std::int64_t seconds) {
  std::string header(block, '\0');
  put(header, 0, name.substr(0, 99));
  put(header, 100, octal(0600, 7));
  put(header, 108, octal(0, 7));
  put(header, 116, octal(0, 7));
  put(header, 124, octal(bytes.size(), 11));
  put(header, 136, octal(static_cast<std::uint64_t>(seconds), 11));
  put(header, 148, "        ");  // counts as blanks in its own sum
  put(header, 156, "0");
  put(header, 257,
      std::string("ustar\0"
                  "00",
                  8));
  unsigned sum = 0;
  for (const char letter : header) sum += static_cast<unsigned char>(letter);
  put(header, 148, octal(sum, 6) + std::string("\0 ", 2));
  out_ += header + bytes;
  out_.append((block - bytes.size() % block) % block, '\0');
}

std::string Tar::end() && { return std::move(out_) + std::string(2 * block, '\0'); }

}  // namespace tallystick::cli
