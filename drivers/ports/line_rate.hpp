// The speed of a line as a number. Apart, because the kernel's header for it cannot stand beside <termios.h>.
#pragma once

namespace tallystick::ports {

/// Bits per second as the driver holds it, rates without a name of their own too; 0: unknown.
long line_rate(int descriptor);
/// For rates that termios has no name for. False leaves errno.
bool set_line_rate(int descriptor, long bits_per_second);

}  // namespace tallystick::ports
