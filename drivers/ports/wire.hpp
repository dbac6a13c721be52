// What a port has in its hand while it is open: a descriptor that bytes come from and go to.
#pragma once

#include <sys/types.h>
#include <unistd.h>

#include <string>
#include <string_view>
#include <vector>

namespace tallystick::ports {

/// The end of a line or of a connection; closes when destroyed, without waiting.
class Wire {
 public:
  virtual ~Wire() = default;
  virtual int descriptor() const = 0;  ///< never blocks; owned by the Wire
  /// As ::write: how many bytes were taken, or -1 and errno. Never raises a signal.
  virtual ssize_t write(std::string_view bytes) const {
    return ::write(descriptor(), bytes.data(), bytes.size());
  }
  std::string node;  ///< what the port's key named when it was opened: a device, an address and port
  std::vector<std::string> warnings;
};

}  // namespace tallystick::ports
