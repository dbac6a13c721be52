// Any text as a dialect; one that is taken must decode without falling over.
#include "drivers/decode/decoder.hpp"

using namespace tallystick;

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  const std::string_view text(reinterpret_cast<const char*>(data), size);
  auto read = read_dialect(text, "fuzz");
  if (!read) {
    if (read.error().empty()) __builtin_trap();
    return 0;
  }
  Decoder decoder(std::make_shared<const Dialect>(*std::move(read)));
  std::size_t out = 0;
  for (const auto& event : decoder.feed("+012.345\r\n01A+0012.345 mm\r\n", Stamp{}))
    out += event.frame.bytes.size();
  for (const auto& event : decoder.feed(text, Stamp{})) out += event.frame.bytes.size();
  for (const auto& event : decoder.gap(Stamp{})) out += event.frame.bytes.size();
  if (out != size + 27) __builtin_trap();
  return 0;
}
