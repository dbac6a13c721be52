// The driver for serial lines (and the pseudo-terminals that stand for them).
#pragma once

#include <boost/asio/awaitable.hpp>
#include <boost/asio/posix/stream_descriptor.hpp>
#include <boost/asio/steady_timer.hpp>
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "drivers/decode/decoder.hpp"
#include "drivers/ports/asking.hpp"
#include "drivers/ports/gauge.hpp"
#include "drivers/ports/line.hpp"
#include "drivers/ports/port_life.hpp"
#include "drivers/ports/recent.hpp"

namespace tallystick::ports {

/// One coroutine waits for the descriptor, one timer for everything that happens by time; both sleep until
/// then. Made by make_driver; lives in a shared_ptr, which the waiting operations hold too.
class SerialPort : public Driver, public std::enable_shared_from_this<SerialPort> {
 public:
  SerialPort(PortConfig config, const Surroundings& surroundings);

  void start() override;
  void stop() override;
  Done ask(std::string_view gauge) override;
  PortStatus status() const override;
  std::vector<GaugeRecent> recent() const override { return recent_.gauges(); }
  std::vector<UnknownChannel> unknown_channels() const override { return recent_.unknown_channels(); }
  void node_changed() override;

  /// For tests: the descriptor while open, else -1.
  int descriptor() const { return line_ ? line_->descriptor() : -1; }

 private:
  // life
  void carry_out(Do todo);
  Do try_open();
  void close_line(const Stamp& now);
  void lose(Error why, const Stamp& now);
  void publish();
  // bytes in
  boost::asio::awaitable<void> read(std::shared_ptr<SerialPort> self, std::uint64_t opening);
  bool read_once(const Stamp& now);
  void take(std::vector<DecodeEvent> events, const Stamp& now);
  void take_decoded(DecodeEvent& event, const Stamp& now);
  const GaugeConfig* gauge_of(const Decoded& decoded) const;
  // asking
  void pump();
  void send(const Asking::Request& request);
  void write_rest(std::string rest);
  void ask_by_timer(std::int64_t now);
  // time
  void arm();
  void on_timer();

  PortConfig config_;
  Surroundings around_;
  PortLife life_;
  Decoder decoder_;
  Recent recent_;
  std::optional<Asking> asking_;
  std::unique_ptr<Line> line_;
  std::optional<boost::asio::posix::stream_descriptor> stream_;
  boost::asio::steady_timer timer_;
  std::optional<std::int64_t> armed_for_;
  std::uint64_t opening_ = 0;      ///< counts openings: a coroutine of an earlier one ends
  std::int64_t last_byte_ns_ = 0;  ///< or opening
  std::int64_t next_ask_ns_ = 0;   ///< by timer; 0: none
  bool running_ = false, sending_ = false, writing_ = false;
  PortStatus counters_;
  std::vector<std::string> key_warnings_;
  std::int64_t last_failure_mark_ = 0;
};

}  // namespace tallystick::ports
