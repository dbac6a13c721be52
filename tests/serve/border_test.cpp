// Who may speak, how much, and how fast.
#include <doctest/doctest.h>

#include "tests/serve/client.hpp"
#include "tests/serve/fake_desk.hpp"

using namespace tallystick;
using test::House;
using test::Line;
namespace json = boost::json;

namespace {

std::string code_of(const test::Response& response) {
  if (response.status < 400) return "";
  return std::string(json::parse(response.body).at("code").as_string());
}

}  // namespace

TEST_CASE("serve: Host and Origin, every pair") {
  House house;
  const auto own = std::to_string(house.port()), other = std::to_string(house.port() + 1);
  const std::vector<std::pair<std::string, bool>> hosts{{"127.0.0.1:" + own, true},
                                                        {"localhost:" + own, true},
                                                        {"LocalHost:" + own, true},
                                                        {"[::1]:" + own, true},
                                                        {"127.0.0.1", false},
                                                        {"127.0.0.1:" + other, false},
                                                        {"evil.example:" + own, false},
                                                        {"localhost.evil.example:" + own, false},
                                                        {"127.0.0.1:" + own + ".evil.example", false},
                                                        {"", false},
                                                        {"127.0.0.2:" + own, false},
                                                        {"user@127.0.0.1:" + own, false}};
  const std::vector<std::pair<std::string, bool>> origins{
      {"", true},
      {"http://127.0.0.1:" + own, true},
      {"http://localhost:" + own, true},
      {"http://[::1]:" + own, true},
      {"https://127.0.0.1:" + own, false},
      {"http://127.0.0.1:" + other, false},
      {"http://evil.example", false},
      {"null", false},
      {"http://127.0.0.1:" + own + "@evil.example", false},
      {"http://127.0.0.1", false}};
  for (const auto& [host, host_fits] : hosts) {
    for (const auto& [origin, origin_fits] : origins) {
      CAPTURE(host);
      CAPTURE(origin);
      const std::string wanted = !host_fits ? "wrong_host" : !origin_fits ? "foreign_origin" : "";
      const std::string extra = origin.empty() ? "" : "Origin: " + origin + "\r\n";
      for (const bool write : {false, true}) {
        auto line = Line::to_port(house.port());
        line.host = host;
        const auto response = write
                                  ? line.post("/api/v1/benches/bench-1/commands", R"({"kind":"act"})", extra)
                                  : line.get("/api/v1/benches", extra);
        CHECK(response.status == (!host_fits ? 421 : !origin_fits ? 403 : 200));
        CHECK(code_of(response) == wanted);
      }
      auto live = Line::to_port(house.port());
      live.host = host;
      CHECK(live.open_live("/api/v1/benches/bench-1/live", extra) == (!host_fits     ? 421
                                                                      : !origin_fits ? 403
                                                                                     : 101));
    }
  }
  // 4 hosts and 4 origins fit: 16 commands came through, no more.
  house.on_io([&] { CHECK(house.desk.commands.size() == 16); });
}

TEST_CASE("serve: what the browser says about who asked") {
  House house;
  auto line = Line::to_port(house.port());
  CHECK(line.get("/api/v1/benches", "Sec-Fetch-Site: same-origin\r\n").status == 200);
  CHECK(line.get("/api/v1/benches", "Sec-Fetch-Site: none\r\n").status == 200);
  CHECK(line.get("/problems/busy", "Sec-Fetch-Site: cross-site\r\nSec-Fetch-Mode: navigate\r\n").status ==
        200);
  CHECK(Line::to_port(house.port())
            .get("/api/v1/benches", "Sec-Fetch-Site: cross-site\r\nSec-Fetch-Mode: navigate\r\n")
            .status == 403);
  CHECK(Line::to_port(house.port())
            .get("/api/v1/benches", "Sec-Fetch-Site: same-site\r\nSec-Fetch-Mode: no-cors\r\n")
            .status == 403);
}

TEST_CASE("serve: a small corpus of requests that two readers could read in two ways") {
  // The classes are those of RFC 9112, sections 2.2, 5, 6.1, 6.3 and 11.2; the byte strings are our own.
  House house;
  const std::string host = "Host: 127.0.0.1:" + std::to_string(house.port()) + "\r\n";
  const std::string post =
      "POST /api/v1/benches/bench-1/commands HTTP/1.1\r\n" + host + "Content-Type: application/json\r\n";
  const std::string hidden = R"({"kind":"act","action":"good"})";
  const std::string inner = post + "Content-Length: " + std::to_string(hidden.size()) + "\r\n\r\n" + hidden;
  const std::vector<std::string> corpus{
      post + "Content-Length: 4\r\nTransfer-Encoding: chunked\r\n\r\n0\r\n\r\n" + inner,
      post + "Transfer-Encoding: chunked\r\nContent-Length: 4\r\n\r\n0\r\n\r\n" + inner,
      post + "Transfer-Encoding: chunked\r\n\r\n0\r\n\r\n" + inner,
      post + "Transfer-Encoding: xchunked\r\nContent-Length: 0\r\n\r\n" + inner,
      post + "Transfer-Encoding : chunked\r\nContent-Length: 0\r\n\r\n" + inner,
      post + "Content-Length: 0\r\nContent-Length: 30\r\n\r\n" + inner,
      post + "Content-Length: 0, 30\r\n\r\n" + inner,
      post + "Content-Length: +0\r\n\r\n" + inner,
      post + "Content-Length: -1\r\n\r\n" + inner,
      post + "Content-Length: 0x0\r\n\r\n" + inner,
      post + "Content-Length : 0\r\n\r\n" + inner,
      post + "Content-Length: 99999999999999999999\r\n\r\n" + inner,
      post + "\r\n" + inner,
      "GET /api/v1/benches HTTP/1.1\r\n" + host + "Content-Length: " + std::to_string(inner.size()) +
          "\r\n\r\n" + inner,
      "GET /api/v1/benches HTTP/1.1\n" + host + "\r\n" + inner,
      "GET /api/v1/benches HTTP/1.1\r\n" + host + host + "\r\n" + inner,
      "GET /api/v1/benches HTTP/1.1\r\n" + host + "X: a\rContent-Length: 0\r\n\r\n" + inner,
      "GET /api/v1/benches HTTP/1.1\r\n" + host + "X\0y: a\r\n\r\n" + inner,
      "GET  /api/v1/benches HTTP/1.1\r\n" + host + "\r\n" + inner,
      "GET http://127.0.0.1/api/v1/benches HTTP/1.1\r\n" + host + "\r\n" + inner,
      "GET /api/v1/../benches HTTP/1.1\r\n" + host + "\r\n" + inner,
      "GET /api/v1/%2e%2e/benches HTTP/1.1\r\n" + host + "\r\n" + inner,
      "GET /api/v1/benches HTTP/1.0\r\n" + host + "\r\n" + inner,
      "GET /api/v1/benches HTTP/2.0\r\n" + host + "\r\n" + inner,
      "GET /api/v1/benches\r\n\r\n" + inner,
      "GET /api/v1/benches HTTP/1.1\r\n\r\n" + inner,
      "PRI * HTTP/2.0\r\n\r\nSM\r\n\r\n" + inner,
      "OPTIONS * HTTP/1.1\r\n" + host + "\r\n" + inner,
  };
  for (const auto& bytes : corpus) {
    CAPTURE(bytes);
    auto line = Line::to_port(house.port());
    line.send(bytes);
    const auto response = line.receive();
    CHECK(response.status >= 400);
    CHECK(line.closed());  // what follows is never taken for a request
  }
  house.on_io([&] { CHECK(house.desk.commands.empty()); });
  // Two honest requests behind each other are two requests.
  auto line = Line::to_port(house.port());
  line.send(inner + inner);
  CHECK(line.receive().status == 200);
  CHECK(line.receive().status == 200);
}

TEST_CASE("serve: sizes are bounded") {
  serve::ServeConfig config;
  config.header_bytes_max = 1024;
  config.body_bytes_max = 2048;
  House house(config);
  const auto big =
      Line::to_port(house.port()).get("/api/v1/benches", "X: " + std::string(2000, 'x') + "\r\n");
  CHECK(big.status == 431);
  CHECK(code_of(big) == "headers_too_large");
  const auto body = Line::to_port(house.port()).post("/api/v1/commands", std::string(3000, ' '));
  CHECK(body.status == 413);
  CHECK(code_of(body) == "body_too_large");
  CHECK(Line::to_port(house.port())
            .post("/api/v1/commands", R"({"kind":"x"})" + std::string(2000, ' '))
            .status == 200);
}

TEST_CASE("serve: a request that trickles in, and a connection that says nothing, are ended") {
  serve::ServeConfig config;
  config.request_time = std::chrono::milliseconds(300);
  config.idle_time = std::chrono::milliseconds(500);
  House house(config);
  auto slow = Line::to_port(house.port());
  const auto begun = std::chrono::steady_clock::now();
  slow.send("GET /api/v1/benches HTTP/1.1\r\n");
  for (int letter = 0; letter < 10; ++letter) {
    std::this_thread::sleep_for(std::chrono::milliseconds(60));
    slow.send("x");
  }
  CHECK(slow.closed());
  CHECK(std::chrono::steady_clock::now() - begun < std::chrono::seconds(3));
  auto silent = Line::to_port(house.port());
  CHECK(silent.closed());
  auto half = Line::to_port(house.port());
  half.send("POST /api/v1/commands HTTP/1.1\r\nHost: " + half.host +
            "\r\nContent-Type: application/json\r\nContent-Length: 100\r\n\r\n{");
  CHECK(half.closed());
  house.on_io([&] { CHECK(house.desk.commands.empty()); });
}

TEST_CASE("serve: connections are counted, and the next one is told so") {
  serve::ServeConfig config;
  config.connections_max = 3;
  House house(config);
  std::vector<Line> lines;
  for (int count = 0; count < 3; ++count) {
    lines.push_back(Line::to_port(house.port()));
    CHECK(lines.back().get("/api/v1/benches").status == 200);
  }
  {
    auto fourth = Line::to_port(house.port());
    const auto refused = fourth.receive();
    CHECK(refused.status == 503);
    CHECK(json::parse(refused.body).at("type").as_string() == "/problems/too_many_connections");
    CHECK(fourth.closed());
  }
  lines.pop_back();
  for (int attempt = 0; attempt < 100; ++attempt) {
    if (house.on_io([&] { return house.server->connections(); }) < 3) break;
    std::this_thread::sleep_for(std::chrono::milliseconds(10));
  }
  CHECK(Line::to_port(house.port()).get("/api/v1/benches").status == 200);
}
