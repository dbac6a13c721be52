#include "daemon/serve/server.hpp"

#include <sys/stat.h>
#include <unistd.h>
#include <boost/asio/post.hpp>
#include <boost/asio/write.hpp>

#include "daemon/serve/inside.hpp"

namespace tallystick::serve {

namespace asio = boost::asio;
using boost::system::error_code;

Inside::Inside(asio::io_context& context, ServeConfig settings, walk::DeskDoor& door, Surroundings around)
    : io(context),
      config(std::move(settings)),
      desk(door),
      surroundings(std::move(around)),
      pool(config.pool_threads),
      routes(
          desk, surroundings, [this](std::function<void()> work) { asio::post(pool, std::move(work)); },
          [this](std::function<void()> work) { asio::post(io, std::move(work)); }),
      displays(io, desk, config.display_grace),
      tcp_(io),
      unix_(io),
      tcp_pause_(io),
      unix_pause_(io) {
  routes.count_connections([this] { return connections.size(); });
}

Done Inside::listen() {
  if (auto done = listen_tcp(); !done) return done;
  if (auto done = listen_unix(); !done) return done;
  desk.on_view_changed([weak = weak_from_this()](const std::string& bench) {
    if (const auto inside = weak.lock(); inside && !inside->stopped) inside->view_changed(bench);
  });
  accept_next(tcp_, false);
  if (unix_.is_open()) accept_next(unix_, true);
  return {};
}

Done Inside::listen_tcp() {
  error_code code;
  const auto address =
      asio::ip::make_address(config.address == "localhost" ? "127.0.0.1" : config.address, code);
  if (code)
    return fail("bad_address", "\"" + config.address + "\" is no IP address", "address", "use \"127.0.0.1\"");
  if (!address.is_loopback()) {
    return fail("not_loopback",
                "\"" + config.address +
                    "\" can be reached from other machines, and people cannot sign in yet: "
                    "anyone there could drive the bench",
                "address", "use \"127.0.0.1\" or \"::1\"");
  }
  const asio::ip::tcp::endpoint endpoint(address, config.port);
  tcp_.open(endpoint.protocol(), code);
  if (!code) tcp_.set_option(asio::socket_base::reuse_address(true), code);
  if (!code) tcp_.bind(endpoint, code);
  if (!code) tcp_.listen(asio::socket_base::max_listen_connections, code);
  if (code == asio::error::address_in_use) {
    return fail("port_taken", "port " + std::to_string(config.port) + " is taken by another program", "port",
                "stop that program, or choose another port; 0 takes any free one");
  }
  if (code)
    return fail("cannot_listen", "cannot listen on " + config.address + ": " + code.message(), "address");
  port = tcp_.local_endpoint(code).port();
  return {};
}

Done Inside::listen_unix() {
  if (config.unix_socket.empty()) return {};
  const auto& path = config.unix_socket;
  const auto failed = [&](const std::string& what) { return fail("cannot_listen", what, path); };
  if (path.size() > 107) return failed("the path of a Unix socket is at most 107 bytes long");
  error_code code;
  struct stat found {};
  if (::lstat(path.c_str(), &found) == 0) {
    if (!S_ISSOCK(found.st_mode))
      return fail("socket_taken", "there is a file of that name, and it is no socket", path,
                  "name another path");
    asio::local::stream_protocol::socket probe(io);
    probe.connect(path, code);
    if (!code)
      return fail("socket_taken", "another daemon listens there", path, "stop it, or name another path");
    ::unlink(path.c_str());  // left behind by a daemon that was killed
  }
  code.clear();
  unix_.open({}, code);
  if (!code) unix_.bind(path, code);
  if (code) return failed("cannot make the Unix socket: " + code.message());
  // Nobody can connect before listen, so the mode is right from the first connection on.
  if (::chmod(path.c_str(), 0660) != 0) return failed("cannot set the mode of the Unix socket");
  unix_.listen(asio::socket_base::max_listen_connections, code);
  if (code) return failed("cannot listen on the Unix socket: " + code.message());
  return {};
}

namespace {

void set_up(asio::ip::tcp::socket& socket) {
  error_code ignored;
  socket.set_option(asio::ip::tcp::no_delay(true), ignored);
  // A small buffer: what the kernel takes for a reader that is asleep counts as written to it.
  socket.set_option(asio::socket_base::send_buffer_size(64 * 1024), ignored);
}
void set_up(asio::local::stream_protocol::socket&) {}

constexpr std::string_view full_house =
    "HTTP/1.1 503 Service Unavailable\r\nConnection: close\r\nRetry-After: 1\r\nContent-Security-Policy: "
    "default-src "
    "'none'\r\nX-Content-Type-Options: nosniff\r\nContent-Type: application/problem+json\r\nContent-Length: "
    "133\r\n\r\n"
    "{\"type\":\"/problems/too_many_connections\",\"title\":\"Too many connections\",\"status\":503,"
    "\"detail\":\"close some, or try again in a moment\"}";
constexpr auto body_at = full_house.find("\r\n\r\n") + 4;
static_assert(full_house.size() - body_at == 133, "Content-Length above");

}  // namespace

template <class Acceptor>
void Inside::accept_next(Acceptor& acceptor, bool local) {
  acceptor.async_accept([self = shared_from_this(), &acceptor, local](error_code code, auto socket) {
    if (self->stopped || code == asio::error::operation_aborted) return;
    if (code) {  // out of descriptors, say: wait, rather than spin
      auto& pause = local ? self->unix_pause_ : self->tcp_pause_;
      pause.expires_after(std::chrono::milliseconds(100));
      pause.async_wait([self, &acceptor, local](error_code ended) {
        if (!ended && !self->stopped) self->accept_next(acceptor, local);
      });
      return;
    }
    if (self->connections.size() >= self->config.connections_max) {
      error_code ignored;
      socket.non_blocking(true, ignored);
      socket.write_some(asio::buffer(full_house), ignored);
      socket.shutdown(asio::socket_base::shutdown_send, ignored);
    } else {
      set_up(socket);
      serve_connection(self, Socket(std::move(socket)), local, ++self->next_connection_);
    }
    self->accept_next(acceptor, local);
  });
}

BenchFeed& Inside::feed(const std::string& bench) {
  auto [at, is_new] = feeds_.try_emplace(bench);
  if (is_new) update(at->second, bench);
  return at->second;
}

bool Inside::update(BenchFeed& feed, const std::string& bench) {
  const auto* text = desk.view_text(bench);
  return text ? feed.update(*text) : feed.update(desk.view(bench));
}

void Inside::view_changed(const std::string& bench) {
  const auto [from, to] = viewers.equal_range(bench);
  if (from == to) {
    feeds_.erase(bench);  // made anew for the next viewer
    return;
  }
  // What a feed that is made here has taken already is news to its viewers all the same.
  const bool is_new = !feeds_.contains(bench);
  if (!update(feed(bench), bench) && !is_new) return;
  for (auto at = from; at != to; ++at) (*at->second)();
}

void Inside::stop() {
  if (stopped) return;
  stopped = true;
  displays.stop();
  error_code ignored;
  tcp_.close(ignored);
  if (unix_.is_open()) {
    unix_.close(ignored);
    ::unlink(config.unix_socket.c_str());
  }
  tcp_pause_.cancel();
  unix_pause_.cancel();
  for (const auto& [number, end] : std::map(connections)) end();
  pool.join();
}

Server::Server(std::shared_ptr<Inside> inside) : inside_(std::move(inside)) {}
Server::~Server() { stop(); }
std::uint16_t Server::port() const { return inside_->port; }
std::size_t Server::connections() const { return inside_->connections.size(); }
void Server::stop() { inside_->stop(); }

Expected<std::unique_ptr<Server>> Server::start(asio::io_context& io, ServeConfig config,
                                                walk::DeskDoor& desk, Surroundings surroundings) {
  auto inside = std::make_shared<Inside>(io, std::move(config), desk, std::move(surroundings));
  if (auto done = inside->listen(); !done) {
    inside->stop();
    return tl::unexpected(done.error());
  }
  return std::unique_ptr<Server>(new Server(std::move(inside)));
}

}  // namespace tallystick::serve
