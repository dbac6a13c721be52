// Replies of a Modbus port: which bytes answer the request that is out, and what they say. The part of
// Decoder (decoder.hpp) that serves register maps; its contract is that one's. Pure.
//
// RTU: a frame is what stands between two silences of the line, or behind a request. The reply that is
// waited for is known by unit address, function and count, so it is complete with its last byte and its CRC,
// without waiting for the silence; all else ends by silence and is refused. (The specification's rule that a
// frame has no pause of more than 1.5 characters inside cannot be held behind an operating system and a USB
// adapter, which hold bytes back: the CRC is what proves a frame.) A reply does not name its registers: one
// that comes after its time-out looks like the answer to the next request for as many registers of the same
// device. The port therefore leaves the line alone for one more time-out (ports/asking.hpp).
//
// TCP: each request has a transaction number, and only the reply with the newest counts. A header that
// cannot be one is skipped byte by byte.
#pragma once

#include <deque>
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "drivers/decode/dialect.hpp"
#include "drivers/decode/event.hpp"
#include "drivers/decode/modbus_frame.hpp"
#include "drivers/decode/modbus_map.hpp"

namespace tallystick::decode {

class ModbusDecoder {
 public:
  explicit ModbusDecoder(std::shared_ptr<const Dialect> dialect);

  std::vector<DecodeEvent> sent(std::string_view request, const Stamp& when);
  std::vector<DecodeEvent> opened(const Stamp& when);
  std::vector<DecodeEvent> feed(std::string_view bytes, const Stamp& when);
  std::vector<DecodeEvent> poll(const Stamp& now);
  std::vector<DecodeEvent> gap();
  void given_up();
  std::optional<std::int64_t> next_poll_ns() const;

 private:
  struct Awaited {
    RegisterRequest request;
    std::size_t place = 0;  ///< of its register in the map
    std::string bytes;      ///< as it went out
  };

  void cut();
  void cut_rtu();
  void cut_tcp();
  bool cut_tcp_frame();
  void silence();
  void skip_garbage(std::size_t count);
  Refusal why_no_reply(std::string_view frame) const;
  std::variant<Decoded, Refusal> answer(std::string_view pdu);
  Refusal exception(std::uint8_t code);
  void emit(std::size_t count, std::variant<Decoded, Refusal> result);
  std::vector<DecodeEvent> taken() { return std::exchange(out_, {}); }
  const ModbusMap& map() const { return *dialect_->modbus; }
  std::size_t longest() const { return tcp_ ? longest_tcp_frame : longest_rtu_frame; }

  std::shared_ptr<const Dialect> dialect_;
  bool tcp_;
  std::optional<Awaited> awaited_;
  std::deque<std::uint16_t> earlier_;  ///< transactions that were given up, the newest last
  std::string buffer_;                 ///< bytes not yet given out
  std::uint64_t offset_ = 0;           ///< of buffer_[0]
  std::vector<std::pair<std::uint64_t, Stamp>> wake_ups_;  ///< whose bytes are still in the buffer
  std::size_t garbage_ = 0;  ///< TCP: the buffer up to here cannot begin a frame
  bool spoilt_ = false;      ///< RTU: more than a frame came without a silence
  std::optional<Stamp> last_activity_;
  std::vector<DecodeEvent> out_;
};

}  // namespace tallystick::decode
