#include "drivers/ports/serial_port.hpp"

#include <spdlog/logger.h>
#include <sys/stat.h>

#include <algorithm>
#include <filesystem>

#include "drivers/ports/access.hpp"
#include "drivers/ports/clock.hpp"
#include "drivers/ports/line.hpp"
#include "drivers/ports/usb_lines.hpp"

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

SerialPort::SerialPort(PortConfig config, const Surroundings& surroundings)
    : StreamPort(std::move(config), surroundings), choice_(config_.usb) {}

std::vector<FoundPort> SerialPort::usb_lines_now() const {
  return around_.find_usb_lines ? around_.find_usb_lines() : usb_lines();
}

void SerialPort::start() {
  if (running()) return;
  if (!config_.usb && is_plain_usb_node(config_.path)) {
    const auto lines = usb_lines_now();
    const auto line = std::find_if(lines.begin(), lines.end(),
                                   [&](const FoundPort& one) { return one.node == config_.path; });
    std::string better = line == lines.end() ? std::string() : better_key(*line, lines);
    if (const auto link = suggested_key(config_.path); better.empty() && !link.empty())
      better = "path = \"" + link + '"';
    key_warnings_.push_back(
        config_.path + " is numbered in the order of plugging in and may name another gauge tomorrow; " +
        (better.empty() ? "name it by usb_serial, usb_port, or its link below /dev/serial/by-id"
                        : "write " + better + " instead"));
    around_.log->warn("port {}: {}", config_.name, key_warnings_.back());
  }
  StreamPort::start();
}

Expected<std::string> SerialPort::find_by_path() const {
  if (config_.path.find("/by-id/") == std::string::npos) return config_.path;
  std::error_code gone;
  const auto node = std::filesystem::canonical(config_.path, gone).string();
  if (gone) return config_.path;  // opening it says what is wrong
  if (auto only = only_of_its_name(config_.path, node, usb_lines_now(), config_.name); !only)
    return tl::unexpected<Error>(only.error());
  return config_.path;
}

Expected<std::string> SerialPort::find_node() {
  if (!config_.usb) return find_by_path();
  auto line = choice_.among(usb_lines_now(), config_.name);
  if (!line) return tl::unexpected<Error>(line.error());
  return line->node;
}

std::optional<StreamPort::Opening> SerialPort::open_wire() {
  last_failure_mark_ = 0;
  const auto node = find_node();
  if (!node) return tl::unexpected<Error>(node.error());
  auto line = open_line(*node, config_.dialect->port);
  if (!line) {
    last_failure_mark_ = mark_of(*node);
    return tl::unexpected<Error>(line.error());
  }
  choice_.opened();
  warn_of_twin(nullptr);
  return Opened{std::move(*line), around_.clock.now()};
}

Error SerialPort::ended(const std::string& how) const {
  return {"port_lost", "it was unplugged, or its other end closed (" + how + ")", "port " + config_.name,
          "plug it in again; it is taken up by itself"};
}

void SerialPort::warn_of_twin(const Error* twin) {
  const std::string warning = twin ? twin->what + "; it is kept while it stays plugged in" : std::string();
  if (warning == twin_warning_) return;
  std::erase(key_warnings_, twin_warning_);
  twin_warning_ = warning;
  if (!warning.empty()) {
    key_warnings_.push_back(warning);
    around_.log->warn("port {}: {}; {}", config_.name, warning, twin->hint);
  }
}

void SerialPort::node_changed() {
  if (!running()) return;
  const auto node = find_node();
  if (life_.holds()) return follow_key(node);
  const bool same_refusal = !node && life_.why() && life_.why()->code == node.error().code &&
                            life_.why()->what == node.error().what;
  const std::int64_t mark = node ? mark_of(*node) : 0;
  if (same_refusal || (node && mark == 0) ||
      (node && life_.state() == PortState::backing_off && mark == last_failure_mark_))
    return;
  carry_out(life_.node_changed(around_.clock.now().steady_ns));
}

/// While the line is held. A hang-up is the reading side's to see.
void SerialPort::follow_key(const Expected<std::string>& node) {
  const std::string before = twin_warning_;
  const bool twin = !node && node.error().code == "port_ambiguous";
  warn_of_twin(twin ? &node.error() : nullptr);
  if (twin_warning_ != before) publish();
  if (!node) return;
  struct stat about {};
  const auto* line = static_cast<const Line*>(wire());
  // The key names another device now, while this one still lives: the key is the identity.
  if (!line || ::stat(node->c_str(), &about) != 0 || about.st_rdev == line->device) return;
  const Stamp now = around_.clock.now();
  lose(Error{"port_moved", config_.path + " names another line now", "port " + config_.name, {}}, now);
  carry_out(life_.node_changed(now.steady_ns));
}

}  // namespace tallystick::ports
