// A Modbus server made by libmodbus: the independent far end of the Modbus drivers.
//
//   modbus_peer tcp UNIT     listens on a port of the loopback that the system chose; prints "ready PORT"
//   modbus_peer rtu UNIT     prints "ready PATH", the end of a pseudo-terminal
//
// Lines on standard input set its registers: "input ADDRESS WORD", "holding ADDRESS WORD". It answers "set".
// Registers are 0 to 199 of either kind. It ends with its input.
#include <fcntl.h>
#include <modbus/modbus.h>
#include <netinet/in.h>
#include <poll.h>
#include <pty.h>
#include <sys/socket.h>
#include <unistd.h>

#include <array>
#include <cstdlib>
#include <iostream>
#include <mutex>
#include <string>
#include <thread>

namespace {

constexpr int registers = 200;

[[noreturn]] void give_up(const std::string& what) {
  std::cerr << "modbus_peer: " << what << ": " << modbus_strerror(errno) << std::endl;
  std::_Exit(1);
}

struct Ends {
  int master = -1;
  std::string path;
};

/// A pseudo-terminal that stays open whoever opens and closes its other end.
Ends pseudo_terminal() {
  Ends out;
  int slave = -1;
  std::array<char, 128> name{};
  termios raw{};
  ::cfmakeraw(&raw);
  if (::openpty(&out.master, &slave, name.data(), &raw, nullptr) != 0) give_up("openpty");
  out.path = name.data();
  return out;  // `slave` stays open as long as the program runs
}

/// Bytes from each end to the other: what a cable does.
void cable(int one, int other) {
  std::array<pollfd, 2> ends{pollfd{one, POLLIN, 0}, pollfd{other, POLLIN, 0}};
  std::array<char, 512> bytes{};
  while (::poll(ends.data(), ends.size(), -1) > 0) {
    for (std::size_t from = 0; from < 2; ++from) {
      if ((ends[from].revents & POLLIN) == 0) continue;
      const ssize_t got = ::read(ends[from].fd, bytes.data(), bytes.size());
      if (got > 0 && ::write(ends[1 - from].fd, bytes.data(), static_cast<std::size_t>(got)) != got) return;
    }
  }
}

std::mutex guard;
modbus_mapping_t* mapping = nullptr;

void take_orders() {
  std::string kind;
  int address = 0, word = 0;
  while (std::cin >> kind >> address >> word) {
    if (address < 0 || address >= registers) give_up("no such register");
    const std::lock_guard lock(guard);
    (kind == "input" ? mapping->tab_input_registers : mapping->tab_registers)[address] =
        static_cast<std::uint16_t>(word);
    std::cout << "set" << std::endl;
  }
  std::_Exit(0);
}

/// Requests of one client until it goes.
void serve(modbus_t* modbus) {
  std::array<std::uint8_t, MODBUS_TCP_MAX_ADU_LENGTH> request{};
  for (;;) {
    const int size = modbus_receive(modbus, request.data());
    if (size < 0) return;
    if (size == 0) continue;  // for another unit address
    const std::lock_guard lock(guard);
    if (modbus_reply(modbus, request.data(), size, mapping) < 0) return;
  }
}

void serve_tcp(int unit) {
  // libmodbus does not tell which port it was given: one that is free now is looked for first.
  const int look = ::socket(AF_INET, SOCK_STREAM, 0);
  sockaddr_in address{};
  address.sin_family = AF_INET;
  address.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
  socklen_t size = sizeof address;
  if (::bind(look, reinterpret_cast<sockaddr*>(&address), size) != 0 ||
      ::getsockname(look, reinterpret_cast<sockaddr*>(&address), &size) != 0)
    give_up("bind");
  ::close(look);
  const int port = ntohs(address.sin_port);
  modbus_t* modbus = modbus_new_tcp("127.0.0.1", port);
  modbus_set_slave(modbus, unit);
  int listener = modbus_tcp_listen(modbus, 1);
  if (listener < 0) give_up("listen");
  std::cout << "ready " << port << std::endl;
  while (modbus_tcp_accept(modbus, &listener) >= 0) {
    serve(modbus);
    modbus_close(modbus);
  }
  give_up("accept");
}

void serve_rtu(int unit) {
  const Ends gauge = pseudo_terminal(), daemon = pseudo_terminal();
  std::thread(cable, gauge.master, daemon.master).detach();
  modbus_t* modbus = modbus_new_rtu(gauge.path.c_str(), 19200, 'E', 8, 1);
  modbus_set_slave(modbus, unit);
  if (modbus_connect(modbus) != 0) give_up("connect");
  std::cout << "ready " << daemon.path << std::endl;
  for (;;) serve(modbus);  // a broken request is no reason to go
}

}  // namespace

int main(int count, char** words) {
  if (count != 3) return 2;
  mapping = modbus_mapping_new(0, 0, registers, registers);
  if (mapping == nullptr) give_up("registers");
  std::thread(take_orders).detach();
  const int unit = std::atoi(words[2]);
  if (std::string(words[1]) == "tcp")
    serve_tcp(unit);
  else
    serve_rtu(unit);
}
