#include "drivers/ports/line.hpp"

#include <fcntl.h>
#include <libserialport.h>
#include <sys/file.h>
#include <sys/ioctl.h>
#include <sys/stat.h>
#include <sys/sysmacros.h>
#include <unistd.h>

#include <cerrno>
#include <climits>
#include <cstdlib>
#include <cstring>

#include "drivers/ports/access.hpp"
#include "drivers/ports/line_rate.hpp"

namespace tallystick::ports {
namespace {

constexpr std::string_view gone_hint = "plug it in; it is taken up by itself when it comes";

bool means_gone(int code) { return code == ENOENT || code == ENXIO || code == ENODEV || code == ENOTDIR; }

tl::unexpected<Error> refused(int code, const std::string& path, std::string_view doing) {
  if (means_gone(code)) {
    return fail("port_absent", "there is no " + path, "port " + path, std::string(gone_hint));
  }
  if (code == EBUSY || code == EWOULDBLOCK) return tl::unexpected<Error>(busy(path));
  if (code == EACCES || code == EPERM) return tl::unexpected<Error>(denied(path));
  return fail("port_failed", std::string(doing) + " failed: " + std::strerror(code), "port " + path,
              "unplug it and plug it in again; if that does not help, look at the kernel's log");
}

/// A descriptor of ours, closed once.
class Owned {
 public:
  explicit Owned(int descriptor = -1) : descriptor_(descriptor) {}
  Owned(Owned&& other) noexcept : descriptor_(std::exchange(other.descriptor_, -1)) {}
  Owned& operator=(Owned&& other) noexcept {
    std::swap(descriptor_, other.descriptor_);
    return *this;
  }
  ~Owned() {
    if (descriptor_ >= 0) ::close(descriptor_);
  }
  int get() const { return descriptor_; }

 private:
  int descriptor_;
};

/// Nothing pending may make closing wait, and a pseudo-terminal keeps TIOCEXCL for as long as its other end
/// lives.
void let_go(int descriptor) {
  ::tcflush(descriptor, TCIOFLUSH);
  ::ioctl(descriptor, TIOCNXCL);
}

class PseudoTerminal : public Line {
 public:
  explicit PseudoTerminal(Owned descriptor) : descriptor_(std::move(descriptor)) {}
  ~PseudoTerminal() override { let_go(descriptor_.get()); }
  int descriptor() const override { return descriptor_.get(); }
  bool pseudo_terminal() const override { return true; }

 private:
  Owned descriptor_;
};

/// The lock has a descriptor of its own: libserialport changes the settings while it opens, so a line that
/// another program holds must be refused before.
class SerialLine : public Line {
 public:
  SerialLine(Owned lock, sp_port* port, int descriptor)
      : lock_(std::move(lock)), port_(port), descriptor_(descriptor) {}
  ~SerialLine() override {
    let_go(descriptor_);
    ::sp_close(port_);
    ::sp_free_port(port_);
  }
  int descriptor() const override { return descriptor_; }
  bool pseudo_terminal() const override { return false; }
  sp_port* library_port() const { return port_; }

 private:
  Owned lock_;
  sp_port* port_;
  int descriptor_;
};

Expected<std::unique_ptr<Line>> open_real(Owned lock, const std::string& node) {
  sp_port* port = nullptr;
  if (::sp_get_port_by_name(node.c_str(), &port) != SP_OK) {
    return fail("not_a_serial_line", node + " is not a serial line that the system knows", "port " + node,
                "name a serial line, best by its link below /dev/serial/by-id");
  }
  if (::sp_open(port, SP_MODE_READ_WRITE) != SP_OK) {
    const int code = ::sp_last_error_code();
    ::sp_free_port(port);
    return refused(code, node, "opening it");
  }
  int descriptor = -1;
  ::sp_get_port_handle(port, &descriptor);
  return std::make_unique<SerialLine>(std::move(lock), port, descriptor);
}

tcflag_t size_bits(int data_bits) {
  switch (data_bits) {
    case 5:
      return CS5;
    case 6:
      return CS6;
    case 7:
      return CS7;
    default:
      return CS8;
  }
}

/// What a terminal may do to bytes is switched off; the descriptor returns as soon as one byte is there, and
/// closing does not drop the modem lines (which resets some gauges).
void make_raw(termios& line) {
  ::cfmakeraw(&line);
  line.c_cflag |= CREAD | CLOCAL;
  line.c_cflag &= ~static_cast<tcflag_t>(HUPCL);
  line.c_cc[VMIN] = 1;
  line.c_cc[VTIME] = 0;
}

/// cfmakeraw sets 8 data bits without parity, so the frame is set after it.
void frame_bits(termios& line, const PortSettings& asked) {
  constexpr tcflag_t mine = CSIZE | PARENB | PARODD | CMSPAR | CSTOPB | CRTSCTS;
  line.c_cflag &= ~mine;
  line.c_cflag |= size_bits(asked.data_bits);
  if (asked.parity != Parity::none) line.c_cflag |= PARENB;
  if (asked.parity == Parity::odd || asked.parity == Parity::mark) line.c_cflag |= PARODD;
  if (asked.parity == Parity::mark || asked.parity == Parity::space) line.c_cflag |= CMSPAR;
  if (asked.stop_bits == 2) line.c_cflag |= CSTOPB;
  if (asked.flow == FlowControl::rts_cts) line.c_cflag |= CRTSCTS;
  if (asked.flow == FlowControl::xon_xoff) line.c_iflag |= IXON | IXOFF;
}

sp_parity parity_of(Parity parity) {
  switch (parity) {
    case Parity::none:
      return SP_PARITY_NONE;
    case Parity::even:
      return SP_PARITY_EVEN;
    case Parity::odd:
      return SP_PARITY_ODD;
    case Parity::mark:
      return SP_PARITY_MARK;
    case Parity::space:
      return SP_PARITY_SPACE;
  }
  return SP_PARITY_NONE;
}

sp_flowcontrol flow_of(FlowControl flow) {
  switch (flow) {
    case FlowControl::none:
      return SP_FLOWCONTROL_NONE;
    case FlowControl::rts_cts:
      return SP_FLOWCONTROL_RTSCTS;
    case FlowControl::xon_xoff:
      return SP_FLOWCONTROL_XONXOFF;
  }
  return SP_FLOWCONTROL_NONE;
}

/// Speed and frame through libserialport, which knows the rates that termios has no name for.
bool set_through_library(sp_port* port, const PortSettings& asked) {
  sp_port_config* config = nullptr;
  if (::sp_new_config(&config) != SP_OK) return false;
  ::sp_set_config_baudrate(config, asked.baud);
  ::sp_set_config_bits(config, asked.data_bits);
  ::sp_set_config_parity(config, parity_of(asked.parity));
  ::sp_set_config_stopbits(config, asked.stop_bits);
  ::sp_set_config_flowcontrol(config, flow_of(asked.flow));
  const bool done = ::sp_set_config(port, config) == SP_OK;
  ::sp_free_config(config);
  return done;
}

Done apply(Line& line, sp_port* port, const PortSettings& asked) {
  const int descriptor = line.descriptor();
  const std::string where = "port " + line.node;
  if (port && !set_through_library(port, asked)) {
    return fail("port_settings",
                "the line does not take " + std::to_string(asked.baud) + " baud, " +
                    std::to_string(asked.data_bits) + " data bits",
                where, "compare the dialect's [port] with the adapter");
  }
  termios now{};
  if (::tcgetattr(descriptor, &now) != 0) return refused(errno, line.node, "reading its settings");
  make_raw(now);
  frame_bits(now, asked);
  const bool named_rate = port || ::cfsetspeed(&now, static_cast<speed_t>(asked.baud)) == 0;
  // The C library says EINVAL where nothing changed and something asked for is missing: a pseudo-terminal that
  // is opened again, and has no parity. What it came to is read back and compared in any case.
  if (::tcsetattr(descriptor, TCSANOW, &now) != 0 && !(errno == EINVAL && line.pseudo_terminal()))
    return refused(errno, line.node, "setting it");
  if (!named_rate && !set_line_rate(descriptor, asked.baud))
    return refused(errno, line.node, "setting its speed");
  ::tcflush(descriptor, TCIOFLUSH);
  return {};
}

void set_modem_lines(int descriptor, const PortSettings& settings, std::vector<std::string>& warnings) {
  const ModemChange change = modem_change(settings.rts, settings.dtr);
  bool done = true;
  if (change.set != 0) done = ::ioctl(descriptor, TIOCMBIS, &change.set) == 0 && done;
  if (change.clear != 0) done = ::ioctl(descriptor, TIOCMBIC, &change.clear) == 0 && done;
  // A pseudo-terminal has no modem lines.
  if (!done && errno != ENOTTY && errno != EINVAL) {
    warnings.push_back(std::string("RTS and DTR could not be set: ") + std::strerror(errno));
  }
}

Done verify(Line& line, const PortSettings& asked) {
  auto found = read_back(line.descriptor());
  if (!found) return tl::unexpected<Error>(found.error());
  const auto wrong = mismatches(asked, *found, line.pseudo_terminal());
  if (wrong.empty()) return {};
  std::string what;
  for (const auto& one : wrong) what += (what.empty() ? "" : "; ") + one;
  return fail("port_settings", what, "port " + line.node,
              "compare the dialect's [port] with what the adapter can do");
}

}  // namespace

ModemChange modem_change(LineSignal rts, LineSignal dtr) {
  ModemChange out;
  if (rts == LineSignal::assert_it) out.set |= TIOCM_RTS;
  if (rts == LineSignal::deassert) out.clear |= TIOCM_RTS;
  if (dtr == LineSignal::assert_it) out.set |= TIOCM_DTR;
  if (dtr == LineSignal::deassert) out.clear |= TIOCM_DTR;
  return out;
}

Expected<std::unique_ptr<Line>> open_line(const std::string& path, const PortSettings& settings) {
  char resolved[PATH_MAX];
  if (!::realpath(path.c_str(), resolved)) return refused(errno, path, "finding it");
  const std::string node = resolved;
  struct stat about {};
  if (::stat(node.c_str(), &about) != 0) return refused(errno, path, "finding it");
  if (!S_ISCHR(about.st_mode)) {
    return fail("not_a_serial_line", path + " is not a character device", "port " + path,
                "name a serial line, best by its link below /dev/serial/by-id");
  }
  Owned lock(::open(node.c_str(), O_RDWR | O_NONBLOCK | O_NOCTTY | O_CLOEXEC));
  if (lock.get() < 0) return refused(errno, path, "opening it");
  if (::isatty(lock.get()) == 0) {
    const int code = errno;
    if (code != ENOTTY) return refused(code, path, "opening it");
    return fail("not_a_serial_line", path + " is not a terminal device", "port " + path,
                "name a serial line");
  }
  if (::flock(lock.get(), LOCK_EX | LOCK_NB) != 0) return refused(errno, path, "locking it");

  // Linux: character majors 136 to 143 are the slave ends of Unix98 pseudo-terminals
  // (Documentation/admin-guide/devices.txt).
  const unsigned major_number = major(about.st_rdev);
  std::unique_ptr<Line> line;
  sp_port* port = nullptr;
  if (major_number >= 136 && major_number <= 143) {
    line = std::make_unique<PseudoTerminal>(std::move(lock));
  } else {
    auto opened = open_real(std::move(lock), node);
    if (!opened) return tl::unexpected<Error>(opened.error());
    line = std::move(*opened);
    port = static_cast<SerialLine&>(*line).library_port();
  }
  line->node = node;
  line->device = about.st_rdev;
  if (::ioctl(line->descriptor(), TIOCEXCL) != 0) return refused(errno, path, "taking it for us alone");
  if (auto done = apply(*line, port, settings); !done) return tl::unexpected<Error>(done.error());
  set_modem_lines(line->descriptor(), settings, line->warnings);
  if (auto done = verify(*line, settings); !done) return tl::unexpected<Error>(done.error());
  return line;
}

}  // namespace tallystick::ports
