// Any text as a replay log.
#include "drivers/decode/replay_log.hpp"

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  const auto log = tallystick::read_replay_log({reinterpret_cast<const char*>(data), size}, "fuzz");
  if (!log && log.error().empty()) __builtin_trap();
  return 0;
}
