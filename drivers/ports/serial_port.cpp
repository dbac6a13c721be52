#include "drivers/ports/serial_port.hpp"

#include <spdlog/logger.h>
#include <sys/stat.h>

#include "drivers/ports/access.hpp"
#include "drivers/ports/clock.hpp"
#include "drivers/ports/line.hpp"

namespace tallystick::ports {
namespace {

/// Tells two states of a node apart (another device, another owner or mode); 0: it is not there.
std::int64_t mark_of(const std::string& path) {
  struct stat about {};
  if (::stat(path.c_str(), &about) != 0) return 0;
  const auto changed = static_cast<std::uint64_t>(about.st_ctim.tv_sec) * 1'000'000'007U +
                       static_cast<std::uint64_t>(about.st_ctim.tv_nsec);
  return static_cast<std::int64_t>((changed ^ (about.st_rdev << 20U) ^ about.st_ino) | 1U);
}

}  // namespace

void SerialPort::start() {
  if (running()) return;
  if (is_plain_usb_node(config_.path)) {
    const std::string better = suggested_key(config_.path);
    key_warnings_.push_back(
        config_.path + " is numbered in the order of plugging in and may name another gauge tomorrow; " +
        (better.empty() ? "name its link below /dev/serial/by-id" : "write path = \"" + better + "\""));
    around_.log->warn("port {}: {}", config_.name, key_warnings_.back());
  }
  StreamPort::start();
}

std::optional<StreamPort::Opening> SerialPort::open_wire() {
  auto line = open_line(config_.path, config_.dialect->port);
  if (!line) {
    last_failure_mark_ = mark_of(config_.path);
    return tl::unexpected<Error>(line.error());
  }
  return Opened{std::move(*line), around_.clock.now()};
}

Error SerialPort::ended(const std::string& how) const {
  return {"port_lost", "it was unplugged, or its other end closed (" + how + ")", "port " + config_.name,
          "plug it in again; it is taken up by itself"};
}

void SerialPort::node_changed() {
  if (!running()) return;
  const Stamp now = around_.clock.now();
  if (life_.holds()) {
    struct stat about {};
    const auto* line = static_cast<const Line*>(wire());
    // The key names another device now, while this one still lives: the key is the identity.
    if (line && ::stat(config_.path.c_str(), &about) == 0 && about.st_rdev != line->device) {
      lose(Error{"port_moved", config_.path + " names another line now", "port " + config_.name, {}}, now);
      carry_out(life_.node_changed(now.steady_ns));
    }
    return;
  }
  const std::int64_t mark = mark_of(config_.path);
  if (mark == 0 || (life_.state() == PortState::backing_off && mark == last_failure_mark_)) return;
  carry_out(life_.node_changed(now.steady_ns));
}

}  // namespace tallystick::ports
