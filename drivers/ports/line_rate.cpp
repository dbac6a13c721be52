#include "drivers/ports/line_rate.hpp"

#include <asm/termbits.h>
#include <sys/ioctl.h>

namespace tallystick::ports {

long line_rate(int descriptor) {
  termios2 line{};
  if (::ioctl(descriptor, TCGETS2, &line) != 0) return 0;
  return static_cast<long>(line.c_ospeed);
}

bool set_line_rate(int descriptor, long bits_per_second) {
  termios2 line{};
  if (::ioctl(descriptor, TCGETS2, &line) != 0) return false;
  line.c_cflag &= ~static_cast<tcflag_t>(CBAUD | CIBAUD);
  line.c_cflag |= BOTHER;
  line.c_ospeed = static_cast<speed_t>(bits_per_second);
  line.c_ispeed = static_cast<speed_t>(bits_per_second);
  return ::ioctl(descriptor, TCSETS2, &line) == 0;
}

}  // namespace tallystick::ports
