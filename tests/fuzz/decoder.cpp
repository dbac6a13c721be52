// Bytes and times to every dialect of one kind (TALLYSTICK_KIND). Input: one byte chooses the dialect, then
// records of two bytes (how much time passes, how many bytes follow) and bytes.
#include <cstdlib>

#include "all_dialects.hpp"
#include "drivers/decode/replay_log.hpp"

using namespace tallystick;

namespace {

std::string lines(const std::vector<DecodeEvent>& events) {
  std::string out;
  for (const auto& event : events) out += json_line(event) + "\n";
  return out;
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  static const auto dialects = fuzz::all_dialects(TALLYSTICK_KIND);
  if (size < 2) return 0;
  const auto& dialect = dialects[data[0] % dialects.size()];
  const std::string_view input(reinterpret_cast<const char*>(data) + 1, size - 1);
  ReplayLog log, by_byte;
  std::string fed;
  std::int64_t at_us = 1'000'000;
  for (std::size_t i = 0; i + 2 < input.size();) {
    const auto pause = static_cast<unsigned char>(input[i]);
    at_us += std::int64_t{pause} * pause * 20;  // up to 1.3 s
    const std::string bytes(input.substr(i + 2, static_cast<unsigned char>(input[i + 1]) % 64));
    if (!bytes.empty()) log.records.push_back({at_us, ReplayRecord::Kind::received, bytes});
    for (const char byte : bytes)
      by_byte.records.push_back({at_us, ReplayRecord::Kind::received, std::string(1, byte)});
    fed += bytes;
    i += 2 + bytes.size();
    if (pause != 255) continue;
    log.records.push_back({at_us, ReplayRecord::Kind::opened, {}});
    by_byte.records.push_back(log.records.back());
  }
  const auto events = replay(log, dialect);
  if (lines(events) != lines(replay(by_byte, dialect))) std::abort();
  if (dialect->port.warm_up.count() > 0) return 0;
  std::string out;
  for (const auto& event : events) out += event.frame.bytes;
  if (out != fed) std::abort();
  return 0;
}
