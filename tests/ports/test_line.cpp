// Opening a line: settings asserted on the descriptor, refusals in words.
#include <pwd.h>
#include <sys/file.h>
#include <sys/ioctl.h>
#include <sys/stat.h>
#include <sys/wait.h>

#include <csignal>
#include <cstdio>

#include "drivers/ports/access.hpp"
#include "drivers/ports/line.hpp"
#include "port_rig.hpp"

using namespace tallystick;
using namespace tallystick::ports;
using namespace tallystick::ports::test;

namespace {

/// A child that locks the node and holds it until it is ended.
class ChildHolder {
 public:
  explicit ChildHolder(const std::string& node) {
    int ready[2];
    REQUIRE(::pipe(ready) == 0);
    pid_ = ::fork();
    if (pid_ == 0) {
      const int descriptor = ::open(node.c_str(), O_RDWR | O_NOCTTY);
      const char done = ::flock(descriptor, LOCK_EX | LOCK_NB) == 0 ? '1' : '0';
      if (::write(ready[1], &done, 1) != 1) ::_exit(1);
      for (;;) ::pause();
    }
    char done = '0';
    REQUIRE(::read(ready[0], &done, 1) == 1);
    REQUIRE(done == '1');
    ::close(ready[0]);
    ::close(ready[1]);
  }
  ~ChildHolder() { end(); }
  void end() {
    if (pid_ <= 0) return;
    ::kill(pid_, SIGKILL);
    ::waitpid(pid_, nullptr, 0);
    pid_ = 0;
  }
  pid_t pid() const { return pid_; }

 private:
  pid_t pid_ = 0;
};

}  // namespace

TEST_CASE("a line with parity can be opened again by the next daemon, on a pseudo-terminal too") {
  Pty pty;
  PortSettings settings;
  settings.data_bits = 7;
  settings.parity = Parity::even;
  for (int opening = 0; opening < 3; ++opening) {
    const auto line = open_line(pty.path(), settings);
    REQUIRE_MESSAGE(line.has_value(), (line ? "" : text(line.error())));
  }
}

TEST_CASE("an opened line has the settings asked for, asserted on its descriptor") {
  Pty pty;
  PortSettings settings;
  settings.baud = 4800;
  settings.stop_bits = 2;
  settings.flow = FlowControl::xon_xoff;
  auto line = open_line(pty.path(), settings);
  REQUIRE_MESSAGE(line.has_value(), (line ? "" : text(line.error())));
  const int descriptor = (*line)->descriptor();
  CHECK((*line)->pseudo_terminal());
  CHECK((*line)->node == pty.path());

  termios found{};
  REQUIRE(::tcgetattr(descriptor, &found) == 0);
  CHECK(::cfgetospeed(&found) == B4800);
  CHECK(::cfgetispeed(&found) == B4800);
  CHECK((found.c_cflag & CSTOPB) != 0);
  CHECK((found.c_cflag & HUPCL) == 0);
  CHECK((found.c_cflag & CLOCAL) != 0);
  CHECK((found.c_cflag & CREAD) != 0);
  CHECK((found.c_iflag & (IXON | IXOFF)) == (IXON | IXOFF));
  CHECK((found.c_iflag & (ICRNL | INLCR | IGNCR | ISTRIP)) == 0);
  CHECK((found.c_lflag & (ICANON | ECHO | ISIG | IEXTEN)) == 0);
  CHECK((found.c_oflag & OPOST) == 0);
  CHECK(found.c_cc[VMIN] == 1);
  CHECK(found.c_cc[VTIME] == 0);
  int exclusive = 0;
  REQUIRE(::ioctl(descriptor, TIOCGEXCL, &exclusive) == 0);
  CHECK(exclusive != 0);
  CHECK((::fcntl(descriptor, F_GETFL) & O_NONBLOCK) != 0);
  CHECK((::fcntl(descriptor, F_GETFD) & FD_CLOEXEC) != 0);

  // A second cooperating holder is refused.
  const int second = ::open(pty.path().c_str(), O_RDWR | O_NOCTTY | O_NONBLOCK);
  if (second >= 0) {  // as root TIOCEXCL does not refuse; flock does
    CHECK(::flock(second, LOCK_EX | LOCK_NB) == -1);
    CHECK(errno == EWOULDBLOCK);
    ::close(second);
  } else {
    CHECK(errno == EBUSY);
  }
}

TEST_CASE("settings are applied anew at every opening, and the line is free for others after closing") {
  Pty pty;
  PortSettings settings;
  settings.baud = 19200;
  termios first{}, second{};
  {
    auto line = open_line(pty.path(), settings);
    REQUIRE(line.has_value());
    REQUIRE(::tcgetattr((*line)->descriptor(), &first) == 0);
  }
  {
    const int other = ::open(pty.path().c_str(), O_RDWR | O_NOCTTY | O_NONBLOCK);
    REQUIRE(other >= 0);
    int exclusive = 1;
    REQUIRE(::ioctl(other, TIOCGEXCL, &exclusive) == 0);
    CHECK(exclusive == 0);
    termios changed{};
    REQUIRE(::tcgetattr(other, &changed) == 0);
    ::cfsetspeed(&changed, B300);
    changed.c_lflag |= ECHO | ICANON;
    changed.c_cc[VMIN] = 0;
    changed.c_cflag |= HUPCL;  // a pseudo-terminal begins without it, a real line with it
    REQUIRE(::tcsetattr(other, TCSANOW, &changed) == 0);
    ::close(other);
  }
  auto line = open_line(pty.path(), settings);
  REQUIRE(line.has_value());
  REQUIRE(::tcgetattr((*line)->descriptor(), &second) == 0);
  CHECK(first.c_cflag == second.c_cflag);
  CHECK((second.c_cflag & HUPCL) == 0);
  CHECK(first.c_iflag == second.c_iflag);
  CHECK(first.c_lflag == second.c_lflag);
  CHECK(first.c_oflag == second.c_oflag);
  CHECK(second.c_cc[VMIN] == 1);
}

TEST_CASE("bytes that lay in the line before it was opened are flushed") {
  Pty pty;
  const int early = ::open(pty.path().c_str(), O_RDWR | O_NOCTTY | O_NONBLOCK);
  termios raw{};
  REQUIRE(::tcgetattr(early, &raw) == 0);
  ::cfmakeraw(&raw);
  REQUIRE(::tcsetattr(early, TCSANOW, &raw) == 0);
  pty.send("+099.999\r");
  ::usleep(20'000);
  auto line = open_line(pty.path(), PortSettings{});
  REQUIRE(line.has_value());
  char byte = 0;
  CHECK(::read((*line)->descriptor(), &byte, 1) == -1);
  CHECK(errno == EAGAIN);  // VMIN=1: an idle line is no end of file
  ::close(early);
}

TEST_CASE("a rate without a name of its own is set too, and read back") {
  Pty pty;
  PortSettings settings;
  settings.baud = 12345;
  auto line = open_line(pty.path(), settings);
  REQUIRE_MESSAGE(line.has_value(), (line ? "" : text(line.error())));
  CHECK(read_back((*line)->descriptor())->baud == 12345);
}

TEST_CASE("a setting that silently failed is found by reading back, with both values") {
  PortSettings asked;
  LineSettings found;
  found.baud = 9600;
  found.data_bits = 8;
  found.stop_bits = 1;
  found.least_bytes = 1;
  found.wait_tenths = 0;
  found.hang_up_on_close = false;
  found.raw = true;
  CHECK(mismatches(asked, found, false).empty());

  auto wrong = found;
  wrong.baud = 0;
  CHECK(mismatches(asked, wrong, false) == std::vector<std::string>{"baud: asked 9600, the line has 0"});
  wrong = found;
  wrong.parity = Parity::even;
  wrong.data_bits = 7;
  CHECK(mismatches(asked, wrong, false).size() == 2);
  CHECK(mismatches(asked, wrong, true).empty());  // a pseudo-terminal has no bits on a wire
  wrong = found;
  wrong.least_bytes = 0;
  CHECK(mismatches(asked, wrong, true).size() == 1);
  wrong = found;
  wrong.hang_up_on_close = true;
  CHECK(mismatches(asked, wrong, true).size() == 1);
  wrong = found;
  wrong.raw = false;
  CHECK(mismatches(asked, wrong, true).size() == 1);
  wrong = found;
  wrong.flow = FlowControl::rts_cts;
  CHECK(mismatches(asked, wrong, true).size() == 1);
  wrong = found;
  wrong.stop_bits = 2;
  CHECK(mismatches(asked, wrong, true).size() == 1);
}

TEST_CASE("RTS and DTR: set, cleared, or left as they are") {
  const struct {
    LineSignal rts, dtr;
    int set, clear;
  } table[] = {
      {LineSignal::leave, LineSignal::leave, 0, 0},
      {LineSignal::assert_it, LineSignal::leave, TIOCM_RTS, 0},
      {LineSignal::deassert, LineSignal::leave, 0, TIOCM_RTS},
      {LineSignal::leave, LineSignal::assert_it, TIOCM_DTR, 0},
      {LineSignal::leave, LineSignal::deassert, 0, TIOCM_DTR},
      {LineSignal::assert_it, LineSignal::deassert, TIOCM_RTS, TIOCM_DTR},
      {LineSignal::assert_it, LineSignal::assert_it, TIOCM_RTS | TIOCM_DTR, 0},
      {LineSignal::deassert, LineSignal::deassert, 0, TIOCM_RTS | TIOCM_DTR},
      {LineSignal::deassert, LineSignal::assert_it, TIOCM_DTR, TIOCM_RTS},
  };
  for (const auto& row : table) {
    const ModemChange change = modem_change(row.rts, row.dtr);
    CHECK(change.set == row.set);
    CHECK(change.clear == row.clear);
  }
}

TEST_CASE("a line that another program holds is refused by its process id, and taken when that ends") {
  Pty pty;
  ChildHolder child(pty.path());
  const auto line = open_line(pty.path(), PortSettings{});
  REQUIRE_FALSE(line.has_value());
  CHECK(line.error().code == "port_busy");
  CHECK(line.error().what.find("process " + std::to_string(child.pid())) != std::string::npos);

  Rig rig;
  REQUIRE(rig.ports.add(port("p", pty.path(), dialect(pushed_line), {{"micrometer", "", Speaks::pushed}}))
              .has_value());
  rig.ports.start();
  REQUIRE(rig.run_until_state("p", PortState::backing_off));
  CHECK(rig.status("p").code == "port_busy");
  child.end();
  REQUIRE(rig.run_until_state("p", PortState::open));
  rig.run_past_opening_gap();
  pty.send("+012.345\r");
  CHECK(rig.run_until([&] { return rig.sink.readings.size() == 1; }));
}

TEST_CASE("the same line under two names of the configuration: the second says so") {
  Pty pty;
  Folder folder;
  const auto link = folder.link("alias", pty.path());
  auto first = open_line(pty.path(), PortSettings{});
  REQUIRE(first.has_value());
  const auto second = open_line(link, PortSettings{});
  REQUIRE_FALSE(second.has_value());
  CHECK(second.error().code == "port_busy");
  CHECK(second.error().what.find("another port of this configuration") != std::string::npos);
}

TEST_CASE("no permission: the message has user, groups, owner, group, mode and the remedy") {
  Pty pty;
  REQUIRE(::chmod(pty.path().c_str(), 0600) == 0);
  const Error error = denied(pty.path());
  CHECK(error.code == "port_denied");
  CHECK(error.what.find("mode 0600") != std::string::npos);
  CHECK(error.what.find(std::string("by user ") + ::getpwuid(::geteuid())->pw_name) != std::string::npos);
  CHECK(error.hint.find("udev") != std::string::npos);
  REQUIRE(::chmod(pty.path().c_str(), 0660) == 0);
  CHECK(denied(pty.path()).hint.find("usermod -aG") != std::string::npos);
}

TEST_CASE("an unprivileged user meets the refusal, and after a chmod the same opening works") {
  if (::geteuid() != 0) {
    std::puts("[skip] an unprivileged user meets the refusal: root, to become nobody");
    return;
  }
  const passwd* nobody = ::getpwnam("nobody");
  REQUIRE(nobody != nullptr);
  Pty pty;
  REQUIRE(::chmod(pty.path().c_str(), 0600) == 0);
  int answer[2];
  REQUIRE(::pipe(answer) == 0);
  const pid_t child = ::fork();
  if (child == 0) {
    if (::setgid(nobody->pw_gid) != 0 || ::setuid(nobody->pw_uid) != 0) ::_exit(9);
    const auto line = open_line(pty.path(), PortSettings{});
    const std::string code = line ? "opened" : line.error().code + " " + line.error().what;
    ::_exit(::write(answer[1], code.data(), code.size()) > 0 ? 0 : 8);
  }
  int status = 0;
  ::waitpid(child, &status, 0);
  REQUIRE(WEXITSTATUS(status) == 0);
  char buffer[1024];
  const std::string said(buffer, static_cast<std::size_t>(::read(answer[0], buffer, sizeof buffer)));
  CHECK(said.find("port_denied it may not be opened by user nobody") == 0);
  CHECK(said.find("mode 0600") != std::string::npos);

  REQUIRE(::chmod(pty.path().c_str(), 0666) == 0);
  const pid_t again = ::fork();
  if (again == 0) {
    if (::setgid(nobody->pw_gid) != 0 || ::setuid(nobody->pw_uid) != 0) ::_exit(9);
    ::_exit(open_line(pty.path(), PortSettings{}) ? 0 : 1);
  }
  ::waitpid(again, &status, 0);
  CHECK(WEXITSTATUS(status) == 0);
  ::close(answer[0]);
  ::close(answer[1]);
}

TEST_CASE("what is no serial line is refused with the remedy, a missing node is absent") {
  Folder folder;
  CHECK(open_line(folder / "nothing", PortSettings{}).error().code == "port_absent");
  CHECK(open_line("/dev/null", PortSettings{}).error().code == "not_a_serial_line");
  CHECK(open_line(folder / ".", PortSettings{}).error().code == "not_a_serial_line");
  for (const std::string& path : {std::string("/dev/null"), folder / "nothing"}) {
    CHECK_FALSE(open_line(path, PortSettings{}).error().hint.empty());
  }
}

TEST_CASE("a plain node is recognised, and its link by id proposed, else by path") {
  CHECK(is_plain_usb_node("/dev/ttyUSB0"));
  CHECK(is_plain_usb_node("/dev/ttyACM12"));
  CHECK_FALSE(is_plain_usb_node("/dev/ttyUSB"));
  CHECK_FALSE(is_plain_usb_node("/dev/serial/by-id/usb-x-port0"));
  CHECK_FALSE(is_plain_usb_node("/dev/ttyS0"));

  Folder folder;
  std::filesystem::create_directory(folder / "by-id");
  std::filesystem::create_directory(folder / "by-path");
  for (const char* node : {"ttyUSB0", "ttyUSB1", "ttyUSB2"}) ::close(::creat((folder / node).c_str(), 0600));
  std::filesystem::create_symlink("../ttyUSB1", folder / "by-id/usb-one");
  std::filesystem::create_symlink("../ttyUSB1", folder / "by-path/pci-1");
  std::filesystem::create_symlink("../ttyUSB2", folder / "by-path/pci-2");
  CHECK(suggested_key(folder / "ttyUSB1", folder / "by-id", folder / "by-path") == folder / "by-id/usb-one");
  CHECK(suggested_key(folder / "ttyUSB2", folder / "by-id", folder / "by-path") == folder / "by-path/pci-2");
  CHECK(suggested_key(folder / "ttyUSB0", folder / "by-id", folder / "by-path").empty());
}
