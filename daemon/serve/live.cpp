#include "daemon/serve/live.hpp"

#include <boost/asio/as_tuple.hpp>
#include <boost/asio/co_spawn.hpp>
#include <boost/asio/use_awaitable.hpp>
#include <boost/beast/core/flat_buffer.hpp>
#include <boost/beast/websocket.hpp>

namespace tallystick::serve {

namespace asio = boost::asio;
namespace beast = boost::beast;
namespace websocket = beast::websocket;
using boost::system::error_code;

namespace {

constexpr auto as_tuple = asio::as_tuple(asio::use_awaitable);

class Viewer {
 public:
  Viewer(std::shared_ptr<Inside> inside, Stream& stream, const Request& request)
      : inside_(std::move(inside)),
        stream_(stream),
        socket_(stream),
        wake_timer_(inside_->io),
        write_timer_(inside_->io),
        ended_timer_(inside_->io, asio::steady_timer::time_point::max()),
        bench_(request.segments[3]) {
    if (const auto at = request.query.find("display"); at != request.query.end())
      display_ = at->second.substr(0, 40);
    wake_ = [this] { wake_timer_.cancel(); };
  }

  asio::awaitable<void> run(HttpRequest handshake) {
    websocket::stream_base::timeout times{};
    times.handshake_timeout = inside_->config.request_time;
    times.idle_timeout = inside_->config.silence_time;
    times.keep_alive_pings = true;
    socket_.set_option(times);
    socket_.read_message_max(4 * 1024);
    socket_.auto_fragment(false);  // a message is one frame, written from where it lies
    const auto [code] = co_await socket_.async_accept(handshake, as_tuple);
    if (code) co_return;
    const auto place = inside_->viewers.emplace(bench_, &wake_);
    if (!display_.empty()) inside_->displays.up(bench_, display_);
    asio::co_spawn(inside_->io, write_all(), [this](std::exception_ptr) {
      writer_ended_ = true;
      ended_timer_.cancel();
    });
    co_await read_all();
    reader_ended_ = true;
    wake_timer_.cancel();
    while (!writer_ended_) co_await ended_timer_.async_wait(as_tuple);
    inside_->viewers.erase(place);
    if (!display_.empty() && !inside_->stopped) inside_->displays.down(bench_, display_);
  }

 private:
  /// What a viewer sends is read (so that pings are answered and its end is seen) and of no meaning.
  asio::awaitable<void> read_all() {
    beast::flat_buffer buffer;
    for (;;) {
      const auto [code, size] = co_await socket_.async_read(buffer, as_tuple);
      if (code) break;
      buffer.clear();
    }
    stream_.close();
  }

  asio::awaitable<void> write_all() {
    socket_.text(true);
    std::uint64_t mark = 0;
    while (!reader_ended_ && !inside_->stopped) {
      if (const auto message = inside_->feed(bench_).message_after(mark)) {
        if (!co_await write(*message->text)) break;
        mark = message->mark;
        if (!display_.empty() && !inside_->stopped)
          inside_->desk.told(bench_, display_, message->sequence, inside_->surroundings.clock());
        continue;
      }
      wake_timer_.expires_after(inside_->config.alive_time);
      const auto [code] = co_await wake_timer_.async_wait(as_tuple);
      if (code) continue;  // woken: there is something new, or an end
      if (!co_await write(R"({"type":"alive","utc":")" + utc_text(inside_->surroundings.clock().utc_us) +
                          "\"}"))
        break;
    }
    stream_.close();
  }

  /// One message at a time, and a viewer that does not take it in time is dropped.
  asio::awaitable<bool> write(const std::string& text) {
    write_timer_.expires_after(inside_->config.write_time);
    write_timer_.async_wait([this](error_code ended) {
      if (!ended) stream_.close();
    });
    const auto [code, size] = co_await socket_.async_write(asio::buffer(text), as_tuple);
    write_timer_.cancel();
    co_return !code;
  }

  std::shared_ptr<Inside> inside_;
  Stream& stream_;
  websocket::stream<Stream&> socket_;
  asio::steady_timer wake_timer_, write_timer_, ended_timer_;
  std::string bench_, display_;
  std::function<void()> wake_;
  bool reader_ended_ = false, writer_ended_ = false;
};

}  // namespace

bool is_live_request(const Request& request) {
  const auto& path = request.segments;
  return request.method == "GET" && path.size() == 5 && path[0] == "api" && path[1] == "v1" &&
         path[2] == "benches" && path[4] == "live";
}

bool request_is_upgrade(const HttpRequest& request) { return websocket::is_upgrade(request); }

asio::awaitable<void> run_live(std::shared_ptr<Inside> inside, Stream& stream, HttpRequest handshake,
                               const Request& request) {
  auto viewer = std::make_unique<Viewer>(std::move(inside), stream, request);
  co_await viewer->run(std::move(handshake));
}

}  // namespace tallystick::serve
