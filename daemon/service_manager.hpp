// What the daemon tells the program that started it as a service: one datagram a message to the socket that
// the environment names (NOTIFY_SOCKET), as sd_notify(3) describes. Started by hand there is no socket, and
// every call is silently nothing.
#pragma once

#include <chrono>
#include <cstdint>
#include <optional>
#include <string>

namespace tallystick {

/// Owns its socket; any one thread. A message that cannot be sent is lost: the service manager then acts by
/// its own time limits.
class ServiceManager {
 public:
  /// Reads NOTIFY_SOCKET, WATCHDOG_USEC and WATCHDOG_PID, and takes them out of the environment, so that no
  /// child process speaks for the daemon.
  static ServiceManager from_environment();
  ServiceManager() = default;
  ~ServiceManager();
  ServiceManager(ServiceManager&& other) noexcept;
  ServiceManager& operator=(ServiceManager&& other) noexcept;

  bool present() const { return socket_ >= 0; }
  /// How long may pass between two signs of life; nothing: no watchdog.
  std::optional<std::chrono::microseconds> watchdog() const { return watchdog_; }

  void ready(const std::string& status) const;
  /// RELOADING with MONOTONIC_USEC; `ready` ends it.
  void reloading() const;
  void stopping() const;
  void status(const std::string& line) const;
  void alive() const;

 private:
  void send(const std::string& message) const;
  int socket_ = -1;
  std::optional<std::chrono::microseconds> watchdog_;
};

}  // namespace tallystick
