// One connection: its requests in turn, then perhaps a WebSocket. One of the two files that include the HTTP
// library.
#include <array>
#include <boost/asio/as_tuple.hpp>
#include <boost/asio/co_spawn.hpp>
#include <boost/asio/detached.hpp>
#include <boost/asio/post.hpp>
#include <boost/asio/use_awaitable.hpp>
#include <boost/asio/write.hpp>
#include <boost/beast/core/basic_stream.hpp>
#include <boost/beast/core/flat_buffer.hpp>
#include <boost/beast/http.hpp>

#include "daemon/serve/inside.hpp"
#include "daemon/serve/live.hpp"
#include "daemon/serve/origin.hpp"
#include "daemon/serve/problem.hpp"
#include "daemon/serve/stream.hpp"

namespace tallystick::serve {

namespace asio = boost::asio;
namespace beast = boost::beast;
namespace http = beast::http;
using boost::system::error_code;
template <class T>
using Awaitable = asio::awaitable<T>;

namespace {

constexpr auto as_tuple = asio::as_tuple(asio::use_awaitable);

/// A value that another part gives later. I/O thread on both sides.
template <class T>
class Later {
 public:
  explicit Later(asio::io_context& io) : timer_(io) {}
  void give(T value) {
    value_ = std::move(value);
    timer_.cancel();
  }
  Awaitable<std::optional<T>> wait(std::chrono::milliseconds time) {
    if (!value_) {
      timer_.expires_after(time);
      co_await timer_.async_wait(as_tuple);
    }
    co_return std::move(value_);
  }

 private:
  asio::steady_timer timer_;
  std::optional<T> value_;
};

void add_headers(http::fields& to, const Answer& answer, std::uint16_t port) {
  to.set(http::field::content_type, answer.media_type);
  to.set("X-Content-Type-Options", "nosniff");
  to.set("Referrer-Policy", "no-referrer");
  to.set("Cross-Origin-Opener-Policy", "same-origin");
  to.set("Cross-Origin-Resource-Policy", "same-origin");
  to.set("X-Frame-Options", "DENY");
  const bool page = answer.media_type.rfind("text/html", 0) == 0;
  const auto own = std::to_string(port);
  to.set("Content-Security-Policy",
         page ? "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self' "
                "ws://127.0.0.1:" +
                    own + " ws://localhost:" + own +
                    "; base-uri 'none'; form-action 'self'; frame-ancestors 'none'"
              : "default-src 'none'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'; sandbox");
  for (const auto& [name, value] : answer.headers) to.set(name, value);
  if (to.find(http::field::cache_control) == to.end()) to.set(http::field::cache_control, "no-store");
}

class Connection : public std::enable_shared_from_this<Connection> {
 public:
  Connection(std::shared_ptr<Inside> inside, Socket socket, bool local, std::uint64_t number)
      : inside_(std::move(inside)), stream_(std::move(socket)), local_(local), number_(number) {
    inside_->connections[number_] = [this] { stream_.close(); };
  }
  ~Connection() { inside_->connections.erase(number_); }

  Awaitable<void> run() {
    const auto self = shared_from_this();
    while (co_await one_request()) {
    }
    // Tells the other end that no more comes, and reads what it still sends, for a moment: closing on unread
    // bytes would make the kernel drop the answer that was just written.
    error_code ignored;
    stream_.socket().shutdown(asio::socket_base::shutdown_send, ignored);
    std::array<char, 4096> rest{};
    stream_.expires_after(std::chrono::milliseconds(500));
    for (int pieces = 0; pieces < 64; ++pieces) {
      const auto [code, read] = co_await stream_.async_read_some(asio::buffer(rest), as_tuple);
      if (code) break;
    }
    stream_.close();
  }

 private:
  using Parser = http::request_parser<http::string_body>;

  Awaitable<bool> one_request();
  std::optional<Answer> refuse_head(const Parser& parser, Request& request) const;
  Awaitable<bool> answer_request(Request request, bool keep_alive);
  Awaitable<bool> write(const Answer& answer, bool head, bool keep_alive);
  Awaitable<bool> write_pieces(const Answer& answer, bool keep_alive);

  std::shared_ptr<Inside> inside_;
  Stream stream_;
  bool local_;
  std::uint64_t number_;
  beast::flat_buffer buffer_;
};

std::string text_of(const http::fields& fields, http::field name) { return std::string(fields[name]); }

/// Fills `request` from the head; the problem where the connection must not go on to the body.
std::optional<Answer> Connection::refuse_head(const Parser& parser, Request& request) const {
  const auto& head = parser.get();
  const auto target = std::string(head.target());
  if (head.version() != 11) return problem("http_version", "the request is not of HTTP/1.1", target);
  // Two readings of where a request ends are how requests are smuggled (RFC 9112, 11.2): only one way is
  // taken.
  if (head.find(http::field::transfer_encoding) != head.end())
    return problem("length_required", "a body in chunks", target);
  if (head.count(http::field::host) != 1)
    return problem("bad_request", "there must be one Host header", target);
  if (head.count(http::field::content_length) > 1)
    return problem("bad_request", "there are two lengths", target);
  auto parsed = request_from_target(target);
  if (!parsed) return problem(parsed.error(), target);
  request = std::move(*parsed);
  request.method = std::string(head.method_string());
  request.host = text_of(head, http::field::host);
  request.origin = text_of(head, http::field::origin);
  request.content_type = text_of(head, http::field::content_type);
  request.if_match = text_of(head, http::field::if_match);
  request.if_none_match = text_of(head, http::field::if_none_match);
  request.accept_encoding = text_of(head, http::field::accept_encoding);
  request.idempotency_key = std::string(head["Idempotency-Key"]);
  request.fetch_site = std::string(head["Sec-Fetch-Site"]);
  request.fetch_mode = std::string(head["Sec-Fetch-Mode"]);
  request.local_socket = local_;
  if (auto foreign = refuse_foreign(request, inside_->port)) return foreign;
  if (head.method() == http::verb::unknown)
    return problem("not_implemented", "method " + request.method.substr(0, 20), target);
  const auto length = parser.content_length().value_or(0);
  if (length > inside_->config.body_bytes_max)
    return problem("body_too_large",
                   "the body has " + std::to_string(length) + " bytes, at most " +
                       std::to_string(inside_->config.body_bytes_max) + " are taken",
                   target);
  const bool carries = head.method() == http::verb::post || head.method() == http::verb::put;
  if (length > 0 && !carries)
    return problem("body_not_wanted", request.method + " with a body", target);
  if (head.method() == http::verb::post && !parser.content_length())
    return problem("length_required", "a POST without Content-Length", target);
  return std::nullopt;
}

Awaitable<bool> Connection::one_request() {
  Parser parser;
  parser.header_limit(static_cast<std::uint32_t>(inside_->config.header_bytes_max));
  parser.body_limit(inside_->config.body_bytes_max);
  // A request on a kept connection may begin late; once begun it must come whole within the request's time.
  if (buffer_.size() == 0) {
    stream_.expires_after(inside_->config.idle_time);
    const auto [code, read] = co_await stream_.async_read_some(buffer_.prepare(4096), as_tuple);
    if (code) co_return false;
    buffer_.commit(read);
  }
  stream_.expires_after(inside_->config.request_time);
  auto [code, size] = co_await http::async_read_header(stream_, buffer_, parser, as_tuple);
  if (code == http::error::header_limit || code == http::error::buffer_overflow)
    co_return co_await write(
        problem("headers_too_large",
                "the headers are larger than " + std::to_string(inside_->config.header_bytes_max) + " bytes"),
        false, false);
  if (code == http::error::body_limit)
    co_return co_await write(
        problem("body_too_large",
                "at most " + std::to_string(inside_->config.body_bytes_max) + " bytes are taken"),
        false, false);
  // Ended, too slow, or broken: there is nobody to answer.
  if (code && code.category() != http::make_error_code(http::error::bad_method).category()) co_return false;
  if (code == http::error::end_of_stream) co_return false;
  if (code) co_return co_await write(problem("bad_request", code.message()), false, false);
  Request request;
  const bool head = parser.get().method() == http::verb::head;
  if (auto refused = refuse_head(parser, request)) co_return co_await write(*refused, head, false);
  if (beast::iequals(parser.get()[http::field::expect], "100-continue")) {
    constexpr std::string_view go_on = "HTTP/1.1 100 Continue\r\n\r\n";
    const auto [failed, written] = co_await asio::async_write(stream_, asio::buffer(go_on), as_tuple);
    if (failed) co_return false;
  }
  std::tie(code, size) = co_await http::async_read(stream_, buffer_, parser, as_tuple);
  if (code) co_return false;
  request.body = std::move(parser.get().body());
  if (is_live_request(request) && request_is_upgrade(parser.get()) &&
      inside_->desk.view(request.segments[3]).is_object()) {
    stream_.expires_never();
    co_await run_live(inside_, stream_, parser.release(), request);
    co_return false;
  }
  co_return co_await answer_request(std::move(request), parser.get().keep_alive());
}

Awaitable<bool> Connection::answer_request(Request request, bool keep_alive) {
  const bool head = request.method == "HEAD";
  const auto target = request.target;
  auto later = std::make_shared<Later<Answer>>(inside_->io);
  stream_.expires_never();
  std::optional<Answer> failed;
  try {
    inside_->routes.answer(std::move(request), [later](Answer answer) { later->give(std::move(answer)); });
  } catch (const std::exception& fault) {
    failed = problem("broken", fault.what(), target);
  }
  if (failed) co_return co_await write(*failed, head, false);
  const auto answer = co_await later->wait(inside_->config.answer_time);
  if (inside_->stopped) co_return false;
  if (!answer)
    co_return co_await write(problem("no_answer", "nothing came back in time", target), head, false);
  if (answer->pull && !head) co_return co_await write_pieces(*answer, keep_alive);
  co_return co_await write(*answer, head, keep_alive);
}

Awaitable<bool> Connection::write(const Answer& answer, bool head, bool keep_alive) {
  stream_.expires_after(inside_->config.write_time);
  http::response<http::string_body> response{static_cast<http::status>(answer.status), 11};
  add_headers(response, answer, inside_->port);
  response.keep_alive(keep_alive);
  const bool no_body = answer.status == 304;
  if (answer.pull) response.chunked(true);
  if (!answer.pull && !no_body) response.content_length(answer.body.size());
  if (!head && !no_body) response.body() = answer.body;
  http::response_serializer<http::string_body> serializer(response);
  error_code code;
  std::size_t written = 0;
  if (head || no_body) {
    std::tie(code, written) = co_await http::async_write_header(stream_, serializer, as_tuple);
  } else {
    std::tie(code, written) = co_await http::async_write(stream_, serializer, as_tuple);
  }
  co_return !code && keep_alive;
}

Awaitable<bool> Connection::write_pieces(const Answer& answer, bool keep_alive) {
  http::response<http::empty_body> response{static_cast<http::status>(answer.status), 11};
  add_headers(response, answer, inside_->port);
  response.keep_alive(keep_alive);
  response.chunked(true);
  http::response_serializer<http::empty_body> serializer(response);
  stream_.expires_after(inside_->config.write_time);
  auto [code, written] = co_await http::async_write_header(stream_, serializer, as_tuple);
  const auto pull = std::make_shared<Pull>(answer.pull);  // one object: it may hold where it stands
  struct Piece {
    std::optional<std::string> bytes;
    bool broken = false;
  };
  while (!code && !inside_->stopped) {
    // The next piece is made only when this one is on its way: a slow reader slows the maker, and one piece
    // is held.
    auto later = std::make_shared<Later<Piece>>(inside_->io);
    stream_.expires_never();
    asio::post(inside_->pool, [later, pull, &io = inside_->io] {
      Piece piece;
      try {
        do piece.bytes = (*pull)();
        while (piece.bytes && piece.bytes->empty());  // an empty chunk would end the answer
      } catch (const std::exception&) {
        piece.broken = true;
      }
      asio::post(io, [later, piece = std::move(piece)]() mutable { later->give(std::move(piece)); });
    });
    const auto piece = co_await later->wait(inside_->config.answer_time);
    if (!piece || piece->broken || inside_->stopped)
      co_return false;  // cut: the reader sees that it is not whole
    stream_.expires_after(inside_->config.write_time);
    if (!piece->bytes) {
      std::tie(code, written) = co_await asio::async_write(stream_, http::make_chunk_last(), as_tuple);
      co_return !code && keep_alive;
    }
    std::tie(code, written) =
        co_await asio::async_write(stream_, http::make_chunk(asio::buffer(*piece->bytes)), as_tuple);
  }
  co_return false;
}

}  // namespace

void serve_connection(std::shared_ptr<Inside> inside, Socket socket, bool local, std::uint64_t number) {
  auto& io = inside->io;
  auto connection = std::make_shared<Connection>(std::move(inside), std::move(socket), local, number);
  asio::co_spawn(
      io, [connection] { return connection->run(); }, [connection](std::exception_ptr) {});
}

}  // namespace tallystick::serve
