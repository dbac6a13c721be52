// What all drivers have in common whose gauges speak through a descriptor: the port's life, reading and
// decoding, asking, the counters and what is remembered. A driver of this kind only opens its wire
// (serial_port.hpp, tcp_port.hpp).
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
#include "drivers/ports/error_queue.hpp"
#include "drivers/ports/gauge.hpp"
#include "drivers/ports/port_life.hpp"
#include "drivers/ports/recent.hpp"
#include "drivers/ports/wire.hpp"

namespace tallystick::ports {

/// One coroutine waits for the descriptor, one timer for everything that happens by time; both sleep until
/// then. Made by make_driver; lives in a shared_ptr, which the waiting operations hold too.
class StreamPort : public Driver, public std::enable_shared_from_this<StreamPort> {
 public:
  void start() override;
  void stop() override;
  Done ask(std::string_view gauge) override;
  PortStatus status() const override;
  std::vector<GaugeRecent> recent() const override { return recent_.gauges(); }
  std::vector<UnknownChannel> unknown_channels() const override { return recent_.unknown_channels(); }

 protected:
  StreamPort(PortConfig config, const Surroundings& surroundings);

  /// What opening came to. `since`: from when on nothing was missed; bytes that wait in the descriptor came
  /// after it.
  struct Opened {
    std::unique_ptr<Wire> wire;
    Stamp since;
  };
  using Opening = Expected<Opened>;

  /// Begins to open the port, without blocking. The answer, or nothing: it comes later, by one call of
  /// `decided` on the loop's thread.
  virtual std::optional<Opening> open_wire() = 0;
  void decided(Opening opening);
  /// The port is being stopped, perhaps in the middle of opening: `decided` is not to be called any more.
  virtual void give_up_opening() {}
  /// The bytes that ask this gauge for its value. Called once for each sending.
  virtual std::string request_of(const GaugeConfig& gauge);
  /// What a person is told when the open wire ended. `how`: as the system put it.
  virtual Error ended(const std::string& how) const = 0;
  /// Takes what waits in the descriptor, without blocking. False: the port is lost (and already being looked
  /// for again). A driver whose descriptor carries something else than the gauge's bytes has its own.
  virtual bool read_once(const Stamp& now);
  /// For a driver with times of its own: when `woke` wants to be called while the port is open. `woke` may
  /// come sooner.
  virtual std::optional<std::int64_t> also_wake_at() const { return {}; }
  virtual void woke(const Stamp&) {}
  /// The wire was closed after a loss; what was begun on it is to be given out now.
  virtual void closed(const Stamp&) {}

  void carry_out(Do todo);
  void lose(Error why, const Stamp& now);
  /// Frames on their way: to the gauge that they belong to, the memory of the gauges page, the sink.
  void take(std::vector<DecodeEvent> events, const Stamp& now);
  void publish();
  const Wire* wire() const { return wire_.get(); }
  bool running() const { return running_; }

  PortConfig config_;
  Surroundings around_;
  PortLife life_;
  Decoder decoder_;
  Recent recent_;
  PortStatus counters_;
  std::vector<std::string> key_warnings_;

 private:
  // life
  Do try_open();
  Do take_opening(Opening opening);
  void close_wire(const Stamp& now);
  // bytes in
  boost::asio::awaitable<void> read(std::shared_ptr<StreamPort> self, std::uint64_t opening);
  void take_decoded(DecodeEvent& event, const Stamp& now);
  void take_refused(const Refusal& refusal, const Frame& frame, const Stamp& now);
  const GaugeConfig* gauge_of(const Decoded& decoded) const;
  // asking
  void pump();
  void send(const Asking::Request& request);
  void write_rest(std::string rest);
  void ask_by_timer(std::int64_t now);
  void tell_not_answered(const Asking::Request& request, Error why);
  void without_answer(const Asking::Request& request, Error why);
  bool take_queued_error(const DecodeEvent& event, const Stamp& now);
  void send_bytes(const std::string& bytes);
  std::int64_t may_send_at() const;
  // time
  void arm();
  void on_timer();

  std::optional<Asking> asking_;
  std::optional<ErrorQueue> error_queue_;  ///< while it is active nothing else is asked
  std::unique_ptr<Wire> wire_;
  std::optional<boost::asio::posix::stream_descriptor> stream_;
  boost::asio::steady_timer timer_;
  std::optional<std::int64_t> armed_for_;
  std::uint64_t opening_ = 0;      ///< counts openings: a coroutine of an earlier one ends
  std::int64_t last_byte_ns_ = 0;  ///< or opening
  std::int64_t last_sent_ns_ = 0;
  std::string heard_instead_;      ///< of an answer: why the last frame since the request was refused
  std::int64_t next_ask_ns_ = 0;   ///< by timer; 0: none
  bool running_ = false, sending_ = false, writing_ = false, waits_for_quiet_ = false;
};

}  // namespace tallystick::ports
