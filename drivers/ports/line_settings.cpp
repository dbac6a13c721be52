// Reading a line's settings back, and comparing them with what was asked.
#include <sys/ioctl.h>

#include <cerrno>
#include <cstring>

#include "drivers/ports/line.hpp"
#include "drivers/ports/line_rate.hpp"

namespace tallystick::ports {
namespace {

std::string_view name_of(Parity parity) {
  switch (parity) {
    case Parity::none:
      return "none";
    case Parity::even:
      return "even";
    case Parity::odd:
      return "odd";
    case Parity::mark:
      return "mark";
    case Parity::space:
      return "space";
  }
  return "none";
}

std::string_view name_of(FlowControl flow) {
  switch (flow) {
    case FlowControl::none:
      return "none";
    case FlowControl::rts_cts:
      return "rts-cts";
    case FlowControl::xon_xoff:
      return "xon-xoff";
  }
  return "none";
}

int data_bits_of(tcflag_t flags) {
  switch (flags & CSIZE) {
    case CS5:
      return 5;
    case CS6:
      return 6;
    case CS7:
      return 7;
    default:
      return 8;
  }
}

Parity parity_of(tcflag_t flags) {
  if ((flags & PARENB) == 0) return Parity::none;
  const bool odd = (flags & PARODD) != 0;
  if ((flags & CMSPAR) != 0) return odd ? Parity::mark : Parity::space;
  return odd ? Parity::odd : Parity::even;
}

template <class T>
std::string differs(std::string_view what, T asked, T found) {
  if constexpr (std::is_integral_v<T>) {
    return std::string(what) + ": asked " + std::to_string(asked) + ", the line has " + std::to_string(found);
  } else {
    return std::string(what) + ": asked " + std::string(asked) + ", the line has " + std::string(found);
  }
}

}  // namespace

Expected<LineSettings> read_back(int descriptor) {
  termios line{};
  if (::tcgetattr(descriptor, &line) != 0) {
    return fail("port_failed", std::string("reading the settings back failed: ") + std::strerror(errno));
  }
  LineSettings out;
  out.baud = line_rate(descriptor);
  out.data_bits = data_bits_of(line.c_cflag);
  out.stop_bits = (line.c_cflag & CSTOPB) != 0 ? 2 : 1;
  out.parity = parity_of(line.c_cflag);
  if ((line.c_cflag & CRTSCTS) != 0) out.flow = FlowControl::rts_cts;
  if ((line.c_iflag & (IXON | IXOFF)) != 0) out.flow = FlowControl::xon_xoff;
  out.least_bytes = line.c_cc[VMIN];
  out.wait_tenths = line.c_cc[VTIME];
  out.hang_up_on_close = (line.c_cflag & HUPCL) != 0;
  out.raw = (line.c_lflag & (ICANON | ECHO | ISIG | IEXTEN)) == 0 && (line.c_oflag & OPOST) == 0 &&
            (line.c_iflag & (ICRNL | INLCR | IGNCR | ISTRIP | BRKINT | PARMRK)) == 0;
  return out;
}

std::vector<std::string> mismatches(const PortSettings& asked, const LineSettings& found,
                                    bool pseudo_terminal) {
  std::vector<std::string> out;
  if (found.baud != asked.baud) out.push_back(differs<long>("baud", asked.baud, found.baud));
  if (!pseudo_terminal) {
    if (found.data_bits != asked.data_bits)
      out.push_back(differs("data bits", asked.data_bits, found.data_bits));
    if (found.parity != asked.parity)
      out.push_back(differs("parity", name_of(asked.parity), name_of(found.parity)));
  }
  if (found.stop_bits != asked.stop_bits)
    out.push_back(differs("stop bits", asked.stop_bits, found.stop_bits));
  if (found.flow != asked.flow)
    out.push_back(differs("flow control", name_of(asked.flow), name_of(found.flow)));
  if (found.least_bytes != 1) out.push_back(differs("least bytes of a read", 1, found.least_bytes));
  if (found.wait_tenths != 0) out.push_back(differs("wait of a read", 0, found.wait_tenths));
  if (found.hang_up_on_close) out.push_back("hang-up on close: asked off, the line has it on");
  if (!found.raw) out.push_back("raw bytes: the line still translates, echoes or edits");
  return out;
}

}  // namespace tallystick::ports
