// Replies of a Modbus port, over a serial line and over TCP: nothing crashes, nothing grows, every byte lies in
// one event, and a reading only ever answers the request that is out.
#include <algorithm>
#include <cstdlib>
#include <fstream>
#include <iterator>

#include "drivers/decode/decoder.hpp"
#include "drivers/decode/modbus_frame.hpp"
#include "drivers/decode/modbus_map.hpp"
#include "drivers/decode/replay_log.hpp"

using namespace tallystick;

namespace {

std::shared_ptr<const Dialect> register_probe() {
  std::ifstream in(std::string(TALLYSTICK_SOURCE_DIR) + "/config/dialects/register-probe.dialect.toml");
  auto read = read_dialect(std::string{std::istreambuf_iterator<char>(in), {}}, "register-probe");
  if (!read) std::abort();
  return std::make_shared<const Dialect>(*std::move(read));
}

void must(bool holds) {
  if (!holds) std::abort();
}

struct Watched {
  std::uint64_t next = 0;
  bool asked = false;
  void take(const std::vector<DecodeEvent>& events) {
    for (const auto& event : events) {
      must(event.frame.offset == next);
      next += event.frame.bytes.size();
      must(!event.frame.bytes.empty() && event.frame.bytes.size() <= decode::longest_tcp_frame);
      if (event.decoded() == nullptr) continue;
      must(asked);  // at most one reading for each request
      asked = false;
    }
  }
};

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  static const auto rtu = register_probe();
  static const auto tcp = modbus_over_tcp(rtu);
  if (size == 0) return 0;
  const bool over_tcp = (data[0] & 1U) != 0;
  Decoder decoder(over_tcp ? tcp : rtu);
  Watched watched;
  std::int64_t at_us = 1'000'000;
  std::uint16_t transaction = 0;
  // A byte of orders, then what it needs: bytes received, a request sent, time that passes.
  for (std::size_t i = 1; i < size;) {
    const unsigned order = data[i++];
    const Stamp when = replay_stamp(at_us);
    if (order < 0x40) {
      const std::size_t count = std::min<std::size_t>(order, size - i);
      watched.take(decoder.feed({reinterpret_cast<const char*>(data) + i, count}, when));
      i += count;
    } else if (order < 0x80) {
      const auto& one = rtu->modbus->registers[order % rtu->modbus->registers.size()];
      const decode::RegisterRequest request{++transaction, static_cast<int>(order & 3U),
                                            static_cast<std::uint8_t>(one.function), one.first(),
                                            static_cast<std::uint16_t>(one.count())};
      watched.take(decoder.sent(over_tcp ? decode::tcp_frame(request) : decode::rtu_frame(request), when));
      watched.asked = true;
    } else if (order < 0xC0) {
      at_us += std::int64_t{1} << (order & 31U);
      watched.take(decoder.poll(replay_stamp(at_us)));
    } else if (order < 0xE0) {
      decoder.given_up();
    } else {
      watched.take(decoder.opened(when));
      watched.asked = false;
    }
  }
  watched.take(decoder.gap(replay_stamp(at_us)));
  return 0;
}
