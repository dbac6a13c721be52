#include "drivers/ports/port_set.hpp"

#include <spdlog/logger.h>

#include <algorithm>
#include <set>

#include "drivers/decode/fitting.hpp"
#include "drivers/ports/hot_plug.hpp"
#include "drivers/ports/node_watch.hpp"

namespace tallystick::ports {

std::vector<Error> faults_of(const std::vector<PortConfig>& configs) {
  std::vector<Error> out;
  std::map<std::string, std::string> names, paths, gauges;
  for (const auto& config : configs) {
    const std::string where = "port " + config.name;
    if (!names.emplace(config.name, where).second) {
      out.push_back(
          {"port_twice", "there are two ports named " + config.name, where, "give each its own name"});
    }
    if (const auto [other, fresh] = paths.emplace(config.path, config.name); !fresh) {
      out.push_back({"port_twice", config.path + " is the path of port " + other->second + " too", where,
                     "name each line once"});
    }
    if (auto wrong = misfit(*config.dialect, config.driver)) {
      wrong->where = where;
      out.push_back(*std::move(wrong));
    }
    std::set<std::string> channels;
    for (const auto& gauge : config.gauges) {
      if (const auto [other, fresh] = gauges.emplace(gauge.id, config.name); !fresh) {
        out.push_back({"gauge_twice", "gauge " + gauge.id + " is at port " + other->second + " too", where,
                       "a gauge belongs to one port"});
      }
      if (!channels.insert(gauge.channel).second) {
        out.push_back({"gauge_twice",
                       gauge.channel.empty() ? "two gauges have no channel"
                                             : "two gauges have channel " + gauge.channel,
                       where, "give each gauge of the port a channel of its own"});
      }
    }
  }
  return out;
}

PortSet::PortSet(Surroundings surroundings) : surroundings_(std::move(surroundings)) {}

PortSet::~PortSet() { stop(); }

Done PortSet::add(PortConfig config) {
  std::vector<PortConfig> all;
  for (const auto& entry : entries_) all.push_back(entry.config);
  all.push_back(config);
  if (auto faults = faults_of(all); !faults.empty()) return tl::unexpected<Error>(std::move(faults.front()));
  auto driver = make_driver(config, surroundings_);
  if (!driver) return tl::unexpected<Error>(driver.error());
  entries_.push_back({std::move(config), std::move(*driver)});
  if (running_) {
    entries_.back().driver->start();
    watch_nodes();
  }
  return {};
}

Done PortSet::remove(std::string_view port) {
  const auto found =
      std::find_if(entries_.begin(), entries_.end(), [&](const Entry& e) { return e.config.name == port; });
  if (found == entries_.end())
    return fail("unknown_port", "there is no such port", "port " + std::string(port));
  found->driver->stop();
  entries_.erase(found);
  if (running_) watch_nodes();
  return {};
}

std::vector<Error> PortSet::reload(std::vector<PortConfig> configs) {
  std::vector<Error> faults = faults_of(configs);
  std::vector<Entry> next;
  for (auto& config : configs) {
    const auto kept =
        std::find_if(entries_.begin(), entries_.end(), [&](const Entry& e) { return e.config == config; });
    if (kept != entries_.end()) {
      next.push_back(*kept);
      continue;
    }
    auto driver = make_driver(config, surroundings_);
    if (!driver) {
      faults.push_back(driver.error());
      continue;
    }
    next.push_back({std::move(config), std::move(*driver)});
  }
  if (!faults.empty()) return faults;
  const auto in = [](const std::vector<Entry>& entries, const std::shared_ptr<Driver>& driver) {
    return std::any_of(entries.begin(), entries.end(), [&](const Entry& e) { return e.driver == driver; });
  };
  // First let go what goes, so that a line can change its name; then take what comes.
  for (const auto& entry : entries_) {
    if (!in(next, entry.driver)) entry.driver->stop();
  }
  const std::vector<Entry> before = std::exchange(entries_, std::move(next));
  if (!running_) return {};
  for (std::size_t n = 0; n < entries_.size(); ++n) {
    if (!in(before, entries_[n].driver)) entries_[n].driver->start();
  }
  watch_nodes();
  return {};
}

void PortSet::start() {
  if (running_) return;
  running_ = true;
  for (std::size_t n = 0; n < entries_.size(); ++n) entries_[n].driver->start();
  watch_nodes();
}

void PortSet::stop() {
  if (!running_) return;
  running_ = false;
  if (watch_) watch_->stop();
  watch_.reset();
  if (hot_plug_) hot_plug_->stop();
  hot_plug_.reset();
  for (auto entry = entries_.rbegin(); entry != entries_.rend(); ++entry) entry->driver->stop();
}

void PortSet::watch_nodes() {
  if (!watch_) watch_ = std::make_shared<NodeWatch>(surroundings_.loop, [this] { look_again(); });
  std::vector<std::string> paths;
  bool by_usb = false;
  for (const auto& entry : entries_) {
    if (entry.config.usb) {
      by_usb = true;
      continue;
    }
    auto wanted = entry.driver->watched();
    if (wanted.empty()) wanted.push_back(entry.config.path);
    for (auto& path : wanted) paths.push_back(std::move(path));
  }
  if (by_usb && !hear_hot_plug()) {
    paths.emplace_back("/dev/ttyUSB*");
    paths.emplace_back("/dev/ttyACM*");
  }
  if (!watch_->start(std::move(paths))) {
    surroundings_.log->warn(
        "no inotify here: a port that comes back is found by trying again, within seconds");
  }
}

bool PortSet::hear_hot_plug() {
  if (!hot_plug_) hot_plug_ = std::make_shared<HotPlug>(surroundings_.loop, [this] { look_again(); });
  return hot_plug_->start();
}

void PortSet::look_again() {
  for (std::size_t n = 0; n < entries_.size(); ++n) {
    const auto driver = entries_[n].driver;
    driver->node_changed();
  }
}

Done PortSet::ask(std::string_view gauge) {
  for (const auto& entry : entries_) {
    for (const auto& one : entry.config.gauges) {
      if (one.id == gauge) return entry.driver->ask(gauge);
    }
  }
  return fail("unknown_gauge", "no port has such a gauge", "gauge " + std::string(gauge));
}

std::vector<PortStatus> PortSet::status() const {
  std::vector<PortStatus> out;
  for (const auto& entry : entries_) out.push_back(entry.driver->status());
  return out;
}

std::vector<GaugeRecent> PortSet::recent() const {
  std::vector<GaugeRecent> out;
  for (const auto& entry : entries_) {
    for (auto& one : entry.driver->recent()) out.push_back(std::move(one));
  }
  return out;
}

std::vector<UnknownChannel> PortSet::unknown_channels() const {
  std::vector<UnknownChannel> out;
  for (const auto& entry : entries_) {
    for (auto& one : entry.driver->unknown_channels()) out.push_back(std::move(one));
  }
  return out;
}

std::string PortSet::port_of(std::string_view gauge) const {
  for (const auto& entry : entries_) {
    for (const auto& one : entry.config.gauges) {
      if (one.id == gauge) return entry.config.name;
    }
  }
  return {};
}

}  // namespace tallystick::ports
