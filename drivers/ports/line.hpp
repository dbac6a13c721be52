// The small seam to the operating system's serial lines: opening one so that nobody else reads from it and
// its settings are what was asked for. Real lines are opened and set through libserialport; pseudo-terminals,
// which that does not open, through termios. What libserialport leaves undone is done here for both.
#pragma once

#include <sys/types.h>
#include <termios.h>

#include <memory>
#include <string>
#include <string_view>
#include <vector>

#include "daemon/measure/error.hpp"
#include "drivers/decode/dialect.hpp"
#include "drivers/ports/wire.hpp"

namespace tallystick::ports {

/// An open line: O_NONBLOCK, VMIN=1, VTIME=0. Pending output is thrown away before it closes, so that closing
/// never waits.
class Line : public Wire {
 public:
  virtual bool pseudo_terminal() const = 0;
  dev_t device = 0;  ///< st_rdev of `node`
};

/// Opens in this order: flock (so that another cooperating holder is not disturbed), the line itself,
/// TIOCEXCL, the settings, VMIN=1 VTIME=0, no HUPCL, flush, RTS and DTR, and reads the settings back. Does
/// not block. Errors: "port_absent" (node missing), "port_busy" (what names the holder where /proc tells),
/// "port_denied" (what names our user and groups, the node's owner, group and mode; the hint is the fix),
/// "port_settings" (the line does not take them; both values), "not_a_serial_line", "port_failed".
Expected<std::unique_ptr<Line>> open_line(const std::string& path, const PortSettings& settings);

/// What the settings came to, as read back from a descriptor.
struct LineSettings {
  long baud = 0;
  int data_bits = 0, stop_bits = 0;
  Parity parity = Parity::none;
  FlowControl flow = FlowControl::none;
  int least_bytes = -1, wait_tenths = -1;  ///< VMIN, VTIME
  bool hang_up_on_close = true;
  bool raw = false;  ///< no echo, no line editing, no signals, no translation in or out
};
Expected<LineSettings> read_back(int descriptor);

/// Differences between what was asked and what was read back: "baud: asked 9600, the line has 0". A
/// pseudo-terminal has no bits on a wire: the kernel holds it at 8 data bits without parity, and that is not
/// compared.
std::vector<std::string> mismatches(const PortSettings& asked, const LineSettings& found,
                                    bool pseudo_terminal);

/// Which modem bits (TIOCM_RTS, TIOCM_DTR) to set and to clear; neither: the line is left as it is.
struct ModemChange {
  int set = 0, clear = 0;
};
ModemChange modem_change(LineSignal rts, LineSignal dtr);

}  // namespace tallystick::ports
