// Listens to one line for a person who sets a gauge up: opens it as a driver would (alone, or not at all),
// hands on what comes with its time, and never writes a byte.
#pragma once

#include <functional>
#include <memory>
#include <string>
#include <string_view>

#include "daemon/measure/error.hpp"
#include "daemon/measure/stamp.hpp"
#include "drivers/decode/dialect.hpp"

namespace boost::asio {
class io_context;
}

namespace tallystick::ports {

class Clock;

class Ear {
 public:
  /// Called on the loop's thread, not while `open` or `close` run. `lost`: the line went away, and is closed.
  struct Hooks {
    std::function<void(std::string_view bytes, const Stamp& when)> heard;
    std::function<void(const Error& why)> lost;
  };
  /// `loop` and `clock` outlive it.
  Ear(boost::asio::io_context& loop, Clock& clock, Hooks hooks);
  ~Ear();  ///< closes
  Ear(const Ear&) = delete;
  Ear& operator=(const Ear&) = delete;

  /// Closes what was open, then opens. Errors: those of open_line ("port_busy" names who holds it). The modem
  /// lines are left as they are.
  Done open(const std::string& path, const PortSettings& settings);
  void close();
  bool is_open() const;

 private:
  struct Inside;
  boost::asio::io_context& loop_;
  Clock& clock_;
  Hooks hooks_;
  std::shared_ptr<Inside> inside_;
};

}  // namespace tallystick::ports
