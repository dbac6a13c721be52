#include "drivers/ports/tcp_port.hpp"

#include <sys/socket.h>

#include <boost/asio/co_spawn.hpp>
#include <boost/asio/detached.hpp>
#include <boost/asio/io_context.hpp>
#include <boost/asio/redirect_error.hpp>
#include <boost/asio/use_awaitable.hpp>
#include <cerrno>
#include <cstring>
#include <sstream>

#include "drivers/ports/clock.hpp"
#include "drivers/ports/tcp_wire.hpp"

namespace tallystick::ports {
namespace {

using boost::asio::ip::tcp;
using std::chrono::milliseconds;

/// So long a connection must last before it counts.
constexpr milliseconds probation{200};
/// Bytes that come sooner after connecting may be the rest of a transmission under way.
constexpr milliseconds least_open_gap{250};
/// Three repeats of a lost segment come within this (0.2 + 0.4 + 0.8 s).
constexpr milliseconds least_give_up{2000};

std::string text_of(const tcp::endpoint& address) {
  std::ostringstream out;
  out << address;
  return out.str();
}

PortConfig on_network(PortConfig config) {
  config.dialect = for_network(config.dialect);
  return config;
}

bool means_out_of_reach(const boost::system::error_code& error) {
  using namespace boost::asio::error;
  return error == timed_out || error == host_unreachable || error == network_unreachable ||
         error == network_down || error.value() == EHOSTDOWN;
}

}  // namespace

std::shared_ptr<const Dialect> for_network(const std::shared_ptr<const Dialect>& dialect) {
  Dialect out = *dialect;
  if (out.framing.by == CutBy::idle_gap) return dialect;  // refused before (faults_of)
  out.framing.open_gap = std::max<std::chrono::nanoseconds>(out.framing.open_gap, least_open_gap);
  out.framing.give_up = std::max<std::chrono::nanoseconds>(out.framing.give_up, least_give_up);
  return std::make_shared<const Dialect>(std::move(out));
}

TcpPort::TcpPort(PortConfig config, const Surroundings& surroundings, NameLookup::Ask ask_name)
    : StreamPort(on_network(std::move(config)), surroundings),
      lookup_(surroundings.loop, std::move(ask_name)),
      deadline_(surroundings.loop) {}

std::optional<StreamPort::Opening> TcpPort::open_wire() {
  const auto attempt = ++attempt_;
  boost::system::error_code no_number;
  const auto address = boost::asio::ip::make_address(config_.tcp.host, no_number);
  if (!no_number) {
    call_all({tcp::endpoint(address, static_cast<unsigned short>(config_.tcp.port))});
    return {};
  }
  const std::weak_ptr<StreamPort> weak = weak_from_this();
  deadline_.expires_after(config_.tcp.connect_timeout);
  deadline_.async_wait([this, weak, attempt](boost::system::error_code error) {
    const auto self = weak.lock();
    if (error || !self || attempt != attempt_) return;
    ++attempt_;  // an answer that comes now is late; the next attempt takes it
    decided(fail("port_absent", "the name service says nothing about \"" + config_.tcp.host + "\"", where(),
                 "look at the network and its name service, or write the address in numbers"));
  });
  lookup_.start(config_.tcp.host, config_.tcp.port, [this, weak, attempt](Expected<TcpAddresses> found) {
    const auto self = weak.lock();
    if (!self || attempt != attempt_) return;
    deadline_.cancel();
    if (found && !found->empty()) return call_all(std::move(*found));
    ++attempt_;
    if (!found) return decided(tl::unexpected<Error>(std::move(found.error())));
    decided(fail("port_absent", "\"" + config_.tcp.host + "\" leads to no address", where(),
                 "write the address in numbers"));
  });
  return {};
}

void TcpPort::give_up_opening() {
  ++attempt_;
  lookup_.forget();
  deadline_.cancel();
  boost::system::error_code ignored;
  if (socket_) socket_->close(ignored);
  socket_.reset();
}

void TcpPort::call_all(TcpAddresses addresses) {
  boost::asio::co_spawn(around_.loop, call(shared_from_this(), attempt_, std::move(addresses)),
                        boost::asio::detached);
}

/// One address after the other, each with its share of the time.
boost::asio::awaitable<void> TcpPort::call(std::shared_ptr<StreamPort> self, std::uint64_t attempt,
                                           TcpAddresses addresses) {
  const auto patience = config_.tcp.connect_timeout / static_cast<int>(addresses.size());
  std::optional<Opening> opening;
  for (const auto& address : addresses) {
    opening = co_await call_one(address, patience);
    if (attempt != attempt_) co_return;
    if (*opening) break;
  }
  socket_.reset();
  if (opening) decided(std::move(*opening));
  static_cast<void>(self);
}

void TcpPort::cancel_after(milliseconds time) {
  deadline_.expires_after(time);
  deadline_.async_wait([socket = socket_](boost::system::error_code error) {
    boost::system::error_code ignored;
    if (!error) socket->cancel(ignored);
  });
}

boost::asio::awaitable<StreamPort::Opening> TcpPort::call_one(tcp::endpoint address, milliseconds patience) {
  const auto socket = std::make_shared<tcp::socket>(around_.loop);
  socket_ = socket;
  const std::string name = text_of(address);
  boost::system::error_code error;
  cancel_after(patience);
  co_await socket->async_connect(address, boost::asio::redirect_error(boost::asio::use_awaitable, error));
  deadline_.cancel();
  const Stamp since = around_.clock.now();
  if (error) co_return tl::unexpected<Error>(refusal(name, error));
  // Two ends that call each other at once are connected (RFC 9293, 3.5): so is a socket that was given the
  // very port that it calls, on this machine.
  boost::system::error_code ignored;
  if (socket->local_endpoint(ignored) == address)
    co_return tl::unexpected<Error>(refusal(name, boost::asio::error::connection_refused));

  cancel_after(probation);
  co_await socket->async_wait(tcp::socket::wait_read,
                              boost::asio::redirect_error(boost::asio::use_awaitable, error));
  deadline_.cancel();
  if (!socket->is_open()) co_return tl::unexpected<Error>(refusal(name, error));  // stopped meanwhile
  char first = 0;
  const ssize_t got = ::recv(socket->native_handle(), &first, 1, MSG_PEEK | MSG_DONTWAIT);
  const int code = errno;
  if (got == 0) co_return tl::unexpected<Error>(refused_at_once(name, "end of file"));
  if (got < 0 && code != EAGAIN && code != EINTR)
    co_return tl::unexpected<Error>(refused_at_once(name, std::strerror(code)));

  const int descriptor = socket->release(error);
  if (error) co_return tl::unexpected<Error>(refusal(name, error));
  auto wire = make_tcp_wire(descriptor, config_.tcp, where());
  if (!wire) co_return tl::unexpected<Error>(wire.error());
  (*wire)->node = name;
  co_return Opened{std::move(*wire), since};
}

Error TcpPort::refusal(const std::string& address, const boost::system::error_code& error) const {
  if (error == boost::asio::error::connection_refused)
    return {"port_refused",
            address +
                " refuses the connection: nothing listens there, or it serves one program at a time and "
                "another one has it",
            where(),
            "see that the device server is set to raw TCP on this port, and that no other program or daemon "
            "is connected to it"};
  if (error == boost::asio::error::operation_aborted || means_out_of_reach(error))
    return {
        "port_absent",
        address + (error == boost::asio::error::operation_aborted ? std::string(" does not answer")
                                                                  : " cannot be reached: " + error.message()),
        where(), "look at its power and network cable, and at the address; it is taken up by itself"};
  return {"port_failed", "calling " + address + " failed: " + error.message(), where(),
          "look at this machine's network settings"};
}

Error TcpPort::refused_at_once(const std::string& address, const std::string& how) const {
  return {"port_refused",
          address + " took the connection and ended it at once (" + how +
              "): it serves one program at a time and another one has it, or it does not let this machine in",
          where(),
          "end the other program or daemon that is connected to it; look at the device server's list of "
          "allowed machines"};
}

Error TcpPort::ended(const std::string& how) const {
  return {"port_lost", "the connection ended (" + how + ")", where(),
          "look at the device server's power and network cable; it is called again by itself"};
}

}  // namespace tallystick::ports
