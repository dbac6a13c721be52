// Why a port could not be had, in words that let the reader mend it.
#pragma once

#include <sys/types.h>

#include <optional>
#include <string>
#include <vector>

#include "daemon/measure/error.hpp"

namespace tallystick::ports {

struct Holder {
  pid_t pid = 0;
  std::string program;  ///< empty where /proc does not tell
};
/// Who holds the node open or locked, as far as /proc lets us see (a lock of our own too).
std::optional<Holder> holder_of(const std::string& node);

/// "port_busy".
Error busy(const std::string& path);
/// "port_denied": our user and groups, the node's owner, group and mode, and the fix. `usual_group` is the
/// group that such nodes have where nothing else was set up.
Error denied(const std::string& path, const std::string& usual_group = "dialout");

/// A better key for a plain node: its link below `by_id`, else below `by_path`; empty where it has none. Two
/// links of by-id never compete: the first by name is taken.
std::string suggested_key(const std::string& node, const std::string& by_id = "/dev/serial/by-id",
                          const std::string& by_path = "/dev/serial/by-path");
/// True for names whose number depends on the order of plugging in (/dev/ttyUSB0, /dev/ttyACM1).
bool is_plain_usb_node(const std::string& path);

}  // namespace tallystick::ports
