// Signs of life to the service manager, given for work that was done and for nothing else: each needs a turn
// of the thread of ports and pages and, in between, a turn of the thread that writes. If either stands still
// no sign goes out, and the service manager ends the daemon and starts it anew.
#pragma once

#include <functional>
#include <memory>

#include "daemon/service_manager.hpp"

namespace tallystick {

/// One thread, that of the loop.
class Watchdog {
 public:
  /// `turn` asks the writing thread to come round and then to run what it is given on the loop's thread
  /// (record::Writer::turn). `manager` outlives this.
  Watchdog(const ServiceManager& manager, std::function<void(std::function<void()>)> turn)
      : manager_(manager), turn_(std::move(turn)) {}

  /// The loop came round; to be called from it about once a second. Asks for the next turn of the writing
  /// thread only when the one before was taken.
  void loop_turned() {
    if (!manager_.watchdog() || *asked_) return;
    *asked_ = true;
    turn_([this, asked = std::weak_ptr<bool>(asked_)] {
      const auto still = asked.lock();
      if (!still) return;  // taken down meanwhile
      *still = false;
      manager_.alive();
    });
  }

 private:
  const ServiceManager& manager_;
  std::function<void(std::function<void()>)> turn_;
  std::shared_ptr<bool> asked_ = std::make_shared<bool>(false);
};

}  // namespace tallystick
