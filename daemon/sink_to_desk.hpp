// From the ports to the desk.
#pragma once

#include <spdlog/spdlog.h>

#include <functional>
#include <string>
#include <vector>

#include "daemon/serve/gauge_routes.hpp"
#include "daemon/walk/desk.hpp"
#include "drivers/ports/gauge.hpp"
#include "drivers/ports/trial.hpp"

namespace tallystick {

/// What the ports tell, told on to the desk.
class SinkToDesk : public ports::GaugeSink {
 public:
  std::function<walk::Desk*()> desk;
  std::function<std::vector<std::string>(const std::string& port)> gauges_of;

  ports::Trials* trials = nullptr;
  ports::UnaskedRing* unasked = nullptr;
  std::function<Stamp()> now;

  void reading(Reading reading) override {
    if (trials->waits(reading.gauge)) {
      // A walk that began meanwhile goes first: a reading at its bench is never taken from it.
      if (const auto bench = serve::bench_in_walk(*desk(), reading.gauge); bench && !bench->empty())
        trials->end(reading.gauge, "walk_began", reading.stamp());
      else if (trials->take(reading))
        return;
    }
    if (!desk()->offer(reading)) unasked->add(reading);
  }
  void refusal(const std::string& port, const std::string& gauge, const Refusal& refusal,
               const Frame& frame) override {
    const auto gauges = gauges_of(port);
    // A port with one gauge: its refused frames are that gauge's, whatever they say.
    const auto& whose = gauge.empty() && gauges.size() == 1 ? gauges.front() : gauge;
    trials->refused(whose, refusal, frame);
    desk()->refused(whose, refusal, frame);
    if (whose.empty())
      for (const auto& one : gauges) desk()->may_have_lost(one, refusal, frame);
  }
  void port_changed(const ports::PortStatus& status) override {
    walk::GaugeLine line;
    line.port_state = std::string(ports::name(status.state));
    line.since_utc_us = status.away_since_utc_us ? status.away_since_utc_us : status.since_utc_us;
    line.last_heard_utc_us = status.last_heard_utc_us;
    line.why = status.why;
    for (const auto& gauge : gauges_of(status.port)) desk()->line_changed(gauge, line);
  }
  void unknown_channel(const ports::UnknownChannel& channel) override {
    spdlog::warn("port {}: channel \"{}\" is not in the register; its frames are held, not given to a gauge",
                 channel.port, channel.channel);
  }
  void not_answered(const std::string&, const std::string& gauge, const Error& why) override {
    if (trials->not_answered(gauge, why, now())) return;
    spdlog::warn("{}", text(why));
    desk()->not_answered(gauge, why.code);
  }
  void acted(const ports::KeyActed& deed) override {
    if (deed.does != ports::KeyDeed::ask) {
      desk()->press({deed.bench, std::string(name(deed.does)), deed.reason, deed.port, deed.code, deed.at});
      return;
    }
    walk::Command command;
    command.kind = "ask_gauge";
    command.body["gauge"] = deed.gauge;
    desk()->command(std::move(command), [this, gauge = deed.gauge](Expected<boost::json::object> asked) {
      if (!asked) desk()->not_answered(gauge, asked.error().code);
    });
  }
};

}  // namespace tallystick
