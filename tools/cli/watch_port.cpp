#include "tools/cli/watch_port.hpp"

#include <spdlog/sinks/null_sink.h>
#include <spdlog/spdlog.h>

#include <algorithm>
#include <boost/asio/io_context.hpp>
#include <boost/json.hpp>
#include <cmath>
#include <ostream>

#include "daemon/measure/json_mirror.hpp"
#include "daemon/record/configuration_files.hpp"
#include "drivers/ports/clock.hpp"
#include "drivers/ports/port_set.hpp"
#include "drivers/ports/recent.hpp"

namespace tallystick::cli {
namespace {

namespace json = boost::json;

// Prints everything that the daemon would decide about, in the form of `ports --watch` on a running daemon.
class Printer : public ports::GaugeSink {
 public:
  Printer(std::ostream& out, std::ostream& err, bool as_json) : out_(out), err_(err), json_(as_json) {}

  void reading(Reading reading) override {
    ports::RecentFrame frame = frame_of(reading.frame);
    frame.value = reading.decoded.value_text;
    frame.unit = std::string(reading.decoded.quantity.unit().name());
    frame.status = std::string(name(reading.decoded.status));
    frame.cause = std::string(name(reading.cause));
    print(reading.gauge, frame);
  }
  void refusal(const std::string&, const std::string& gauge, const Refusal& refusal,
               const Frame& raw) override {
    ports::RecentFrame frame = frame_of(raw);
    frame.refusal = std::string(name(refusal.reason));
    frame.detail = refusal.detail;
    print(gauge, frame);
  }
  void port_changed(const ports::PortStatus& status) override {
    err_ << "port " << status.port << ": " << ports::name(status.state);
    if (!status.why.empty()) err_ << ", " << status.why;
    if (!status.hint.empty()) err_ << " (" << status.hint << ')';
    err_ << std::endl;
  }
  void unknown_channel(const ports::UnknownChannel& channel) override {
    err_ << "channel " << channel.channel << " is no gauge's: " << channel.last_value << ' '
         << channel.last_unit << std::endl;
  }

 private:
  static ports::RecentFrame frame_of(const Frame& raw) {
    ports::RecentFrame frame;
    frame.utc_us = raw.last.utc_us;
    frame.bytes_hex = ports::hex(raw.bytes);
    return frame;
  }
  void print(const std::string& gauge, const ports::RecentFrame& frame) {
    print_frame(gauge, mirror::write<true>(frame).as_object(), json_, out_);
  }

  std::ostream& out_;
  std::ostream& err_;
  bool json_;
};

Expected<ports::PortConfig> port_of(const record::Configuration& configuration, const std::string& wanted) {
  const auto& shop = configuration.shop;
  const auto gauge = std::find_if(shop.gauges.begin(), shop.gauges.end(),
                                  [&](const auto& card) { return card.id == wanted; });
  const auto& id = gauge == shop.gauges.end() ? wanted : gauge->port;
  const auto card =
      std::find_if(shop.ports.begin(), shop.ports.end(), [&](const auto& port) { return port.id == id; });
  if (card == shop.ports.end())
    return fail("unknown_port", "no port and no gauge has this name", wanted,
                "tallystick register lists them");
  const auto dialect = configuration.dialects.find(card->dialect);
  if (dialect == configuration.dialects.end())
    return fail("unknown_dialect", "its dialect \"" + card->dialect + "\" is not sound", card->id,
                "tallystick check says why");
  ports::PortConfig out;
  out.name = card->id;
  out.path = card->key();
  out.driver = card->driver;
  out.usb = ports::usb_key(card->usb.serial, card->usb.port, card->usb.id, card->usb.interface);
  out.tcp.host = card->tcp.host;
  out.tcp.port = card->tcp.port;
  out.tcp.connect_timeout = std::chrono::milliseconds(std::llround(card->tcp.connect_timeout_s * 1000));
  out.tcp.keep_alive_idle_s = card->tcp.keep_alive_idle_s;
  out.tcp.keep_alive_interval_s = card->tcp.keep_alive_interval_s;
  out.tcp.keep_alive_count = card->tcp.keep_alive_count;
  out.dialect = std::make_shared<const Dialect>(dialect->second);
  for (const auto& each : shop.gauges)
    if (each.port == card->id)
      out.gauges.push_back({each.id, each.channel,
                            each.speaks == "asked"     ? Speaks::asked
                            : each.speaks == "streams" ? Speaks::streams
                                                       : Speaks::pushed});
  return out;
}

}  // namespace

int watch_port(const PortsOptions& options, Streams streams) {
  auto configuration = record::load_configuration(options.daemon.config);
  if (!configuration) return say(configuration.error(), options.json, streams);
  auto port = port_of(*configuration, options.watch);
  if (!port) return say(port.error(), options.json, streams, status::no);
  boost::asio::io_context loop(1);
  Printer printer(streams.out, streams.err, options.json);
  ports::SystemClock clock({}, 0);
  ports::PortSet set({loop, printer, clock, spdlog::null_logger_st("watch"), [] { return 0.5; }});
  if (auto done = set.add(std::move(*port)); !done) return say(done.error(), options.json, streams);
  set.start();
  if (options.seconds > 0) {
    loop.run_for(std::chrono::milliseconds(static_cast<std::int64_t>(options.seconds * 1000)));
  } else {
    loop.run();
  }
  set.stop();
  return status::good;
}

}  // namespace tallystick::cli
