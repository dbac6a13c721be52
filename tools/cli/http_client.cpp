#include "tools/cli/http_client.hpp"

#include <boost/asio/awaitable.hpp>
#include <boost/asio/co_spawn.hpp>
#include <boost/asio/io_context.hpp>
#include <boost/asio/ip/tcp.hpp>
#include <boost/asio/local/stream_protocol.hpp>
#include <boost/asio/use_awaitable.hpp>
#include <boost/beast/core.hpp>
#include <boost/beast/http.hpp>
#include <charconv>
#include <exception>

namespace tallystick::cli {
namespace {

namespace asio = boost::asio;
namespace beast = boost::beast;
namespace http = boost::beast::http;
namespace json = boost::json;

constexpr std::uint64_t answer_most = 256ULL * 1024 * 1024;

using HttpRequest = http::request<http::string_body>;
using HttpResponse = http::response<http::string_body>;

// Throws boost::system::system_error; `connected` tells the caller how far it came.
template <class Protocol>
asio::awaitable<void> ask(typename Protocol::endpoint endpoint, const HttpRequest& request,
                          std::chrono::seconds patience, HttpResponse& response, bool& connected) {
  beast::basic_stream<Protocol> stream(co_await asio::this_coro::executor);
  stream.expires_after(patience);
  co_await stream.async_connect(endpoint, asio::use_awaitable);
  connected = true;
  co_await http::async_write(stream, request, asio::use_awaitable);
  beast::flat_buffer buffer;
  http::response_parser<http::string_body> parser;
  parser.body_limit(answer_most);
  co_await http::async_read(stream, buffer, parser, asio::use_awaitable);
  response = parser.release();
}

std::string member(const json::object& object, std::string_view name) {
  const auto* found = object.if_contains(name);
  return found && found->is_string() ? std::string(found->as_string()) : std::string();
}

}  // namespace

Expected<DaemonAddress> address_from(const std::string& text) {
  DaemonAddress out;
  std::string_view rest = text;
  if (rest.starts_with('/') || rest.starts_with('.')) {
    out.socket = text;
    return out;
  }
  if (rest.starts_with("http://")) rest.remove_prefix(7);
  if (rest.ends_with('/')) rest.remove_suffix(1);
  const auto colon = rest.rfind(':');
  const auto wrong = [&text] {
    return fail("wrong_address", "expected an address of the daemon, found " + tallystick::quoted(text),
                "--daemon", "write http://127.0.0.1:7411, or the path of its Unix socket");
  };
  if (colon == std::string_view::npos) return wrong();
  const auto digits = rest.substr(colon + 1);
  const auto [end, fault] = std::from_chars(digits.data(), digits.data() + digits.size(), out.port);
  if (fault != std::errc{} || end != digits.data() + digits.size() || out.port == 0) return wrong();
  out.host = std::string(rest.substr(0, colon));
  if (out.host == "localhost") out.host = "127.0.0.1";
  if (out.host == "[::1]") out.host = "::1";
  boost::system::error_code code;
  asio::ip::make_address(out.host, code);
  if (code) return wrong();
  return out;
}

std::string text(const DaemonAddress& address) {
  if (!address.socket.empty()) return address.socket;
  const bool six = address.host.find(':') != std::string::npos;
  return "http://" + (six ? '[' + address.host + ']' : address.host) + ':' + std::to_string(address.port);
}

Expected<HttpClient::Answer> HttpClient::exchange(const std::string& method, const std::string& target,
                                                  const std::string& body) {
  HttpRequest request(method == "POST" ? http::verb::post : http::verb::get, target, 11);
  request.set(http::field::host, address_.socket.empty() ? cli::text(address_).substr(7) : "localhost");
  request.set(http::field::user_agent, "tallystick");
  request.keep_alive(false);
  if (method == "POST") {
    request.set(http::field::content_type, "application/json");
    request.body() = body;
    request.prepare_payload();
  }
  HttpResponse response;
  bool connected = false;
  std::exception_ptr fault;
  try {
    asio::io_context loop(1);
    const auto done = [&fault](std::exception_ptr thrown) { fault = std::move(thrown); };
    if (address_.socket.empty()) {
      const asio::ip::tcp::endpoint endpoint(asio::ip::make_address(address_.host), address_.port);
      asio::co_spawn(loop, ask<asio::ip::tcp>(endpoint, request, patience_, response, connected), done);
    } else {
      const asio::local::stream_protocol::endpoint endpoint(address_.socket);
      asio::co_spawn(
          loop, ask<asio::local::stream_protocol>(endpoint, request, patience_, response, connected), done);
    }
    loop.run();
    if (fault) std::rethrow_exception(fault);
  } catch (const std::exception& thrown) {
    if (!connected)
      return fail("no_daemon", std::string("nobody listens: ") + thrown.what(), cli::text(address_),
                  "start tallystickd, or say with --daemon or --config which one is meant");
    return fail("no_answer", std::string("the answer did not come whole: ") + thrown.what(), cli::text(address_),
                "look at the daemon's log");
  }
  return Answer{response.result_int(), std::move(response.body())};
}

Expected<json::value> HttpClient::understood(const Answer& answer) {
  boost::system::error_code code;
  auto value = json::parse(answer.body, code);
  if (answer.status >= 200 && answer.status < 300) {
    if (code) return fail("not_json", "the daemon's answer is not JSON: " + code.message());
    return value;
  }
  if (code || !value.is_object())
    return fail("no_answer", "the daemon answered with HTTP " + std::to_string(answer.status));
  const auto& problem = value.get_object();
  return fail(member(problem, "code"), member(problem, "detail"), member(problem, "where"),
              member(problem, "remedy"));
}

Expected<json::value> HttpClient::get(const std::string& target) {
  auto answer = exchange("GET", target, {});
  if (!answer) return tl::unexpected(answer.error());
  return understood(*answer);
}

Expected<std::string> HttpClient::text(const std::string& target) {
  auto answer = exchange("GET", target, {});
  if (!answer) return tl::unexpected(answer.error());
  if (answer->status >= 200 && answer->status < 300) return std::move(answer->body);
  auto refused = understood(*answer);
  return refused ? fail("no_answer", "no text came") : tl::unexpected(refused.error());
}

Expected<json::value> HttpClient::post(const std::string& target, const json::value& body) {
  auto answer = exchange("POST", target, json::serialize(body));
  if (!answer) return tl::unexpected(answer.error());
  return understood(*answer);
}

}  // namespace tallystick::cli
