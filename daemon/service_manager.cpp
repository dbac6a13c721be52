#include "daemon/service_manager.hpp"

#include <sys/socket.h>
#include <sys/un.h>
#include <unistd.h>

#include <algorithm>
#include <charconv>
#include <cstddef>
#include <cstdlib>
#include <cstring>
#include <ctime>
#include <utility>

namespace tallystick {
namespace {

std::string taken_from_environment(const char* name) {
  const char* found = std::getenv(name);
  std::string text = found ? found : "";
  ::unsetenv(name);
  return text;
}

std::optional<std::int64_t> whole(const std::string& text) {
  std::int64_t number = 0;
  const auto [end, code] = std::from_chars(text.data(), text.data() + text.size(), number);
  if (code != std::errc() || end != text.data() + text.size() || number <= 0) return std::nullopt;
  return number;
}

/// A status is one line; a line feed would begin another assignment.
std::string one_line(std::string text) {
  std::replace(text.begin(), text.end(), '\n', ' ');
  return text;
}

/// -1 where the address is none that can be sent to.
int connected_to(const std::string& path) {
  sockaddr_un address{};
  address.sun_family = AF_UNIX;
  // A path, or with "@" a name of the abstract kind, which begins with a zero byte.
  if (path.size() < 2 || path.size() >= sizeof address.sun_path || (path[0] != '/' && path[0] != '@'))
    return -1;
  std::memcpy(address.sun_path, path.data(), path.size());
  if (path[0] == '@') address.sun_path[0] = '\0';
  const int made = ::socket(AF_UNIX, SOCK_DGRAM | SOCK_CLOEXEC, 0);
  if (made < 0) return -1;
  const auto length = static_cast<socklen_t>(offsetof(sockaddr_un, sun_path) + path.size());
  if (::connect(made, reinterpret_cast<const sockaddr*>(&address), length) == 0) return made;
  ::close(made);
  return -1;
}

}  // namespace

ServiceManager ServiceManager::from_environment() {
  ServiceManager out;
  const auto path = taken_from_environment("NOTIFY_SOCKET");
  const auto period = whole(taken_from_environment("WATCHDOG_USEC"));
  const auto meant = whole(taken_from_environment("WATCHDOG_PID"));
  if (!path.empty()) out.socket_ = connected_to(path);
  if (period && (!meant || *meant == ::getpid())) out.watchdog_ = std::chrono::microseconds(*period);
  return out;
}

ServiceManager::~ServiceManager() {
  if (socket_ >= 0) ::close(socket_);
}

ServiceManager::ServiceManager(ServiceManager&& other) noexcept
    : socket_(std::exchange(other.socket_, -1)), watchdog_(other.watchdog_) {}

ServiceManager& ServiceManager::operator=(ServiceManager&& other) noexcept {
  std::swap(socket_, other.socket_);
  std::swap(watchdog_, other.watchdog_);
  return *this;
}

void ServiceManager::ready(const std::string& status) const { send("READY=1\nSTATUS=" + one_line(status)); }

void ServiceManager::reloading() const {
  timespec now{};
  ::clock_gettime(CLOCK_MONOTONIC, &now);
  send("RELOADING=1\nMONOTONIC_USEC=" + std::to_string(now.tv_sec * 1'000'000 + now.tv_nsec / 1'000) +
       "\nSTATUS=reading the configuration anew");
}

void ServiceManager::stopping() const { send("STOPPING=1\nSTATUS=ending: what still waits is being kept"); }
void ServiceManager::status(const std::string& line) const { send("STATUS=" + one_line(line)); }
void ServiceManager::alive() const { send("WATCHDOG=1"); }

void ServiceManager::send(const std::string& message) const {
  // Never waits: a service manager that does not listen must not stop the bench.
  if (socket_ >= 0)
    static_cast<void>(::send(socket_, message.data(), message.size(), MSG_NOSIGNAL | MSG_DONTWAIT));
}

}  // namespace tallystick
