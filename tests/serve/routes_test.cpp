#include <sys/stat.h>
#include <unistd.h>

#include <doctest/doctest.h>

#include <fstream>

#include "daemon/serve/problem.hpp"
#include "tests/serve/client.hpp"
#include "tests/serve/fake_desk.hpp"

using namespace tallystick;
using test::House;
using test::Line;
namespace json = boost::json;

namespace {

json::object object_of(const test::Response& response) { return json::parse(response.body).as_object(); }

/// RFC 9457, 3.1: type, title, status, detail; and our own: code.
void check_problem(const test::Response& response, int status, const std::string& code) {
  CAPTURE(response.body);
  CHECK(response.status == status);
  REQUIRE(response.headers.contains("content-type"));
  CHECK(response.headers.at("content-type") == "application/problem+json");
  const auto body = object_of(response);
  CHECK(body.at("status").to_number<int>() == status);
  CHECK(body.at("code").as_string() == code.c_str());
  CHECK(body.at("type").as_string() == ("/problems/" + code).c_str());
  CHECK(!body.at("title").as_string().empty());
  CHECK(!body.at("detail").as_string().empty());
  CHECK(response.headers.at("x-content-type-options") == "nosniff");
  CHECK(response.headers.contains("content-security-policy"));
}

serve::Surroundings with_pages() {
  serve::Surroundings around;
  around.files = {{"index.html", "<!doctype html><title>benches</title>"},
                  {"bench.html", "<!doctype html><title>bench</title>"},
                  {"bench.js", "export const one = 1;"},
                  {"long.js", "export const many = 1;", "(compressed)"}};
  return around;
}

}  // namespace

TEST_CASE("serve: benches and their views") {
  House house;
  auto line = Line::to_port(house.port());
  const auto all = line.get("/api/v1/benches");
  CHECK(all.status == 200);
  CHECK(json::parse(all.body).as_array().at(0).at("bench").as_string() == "bench-1");
  const auto one = line.get("/api/v1/benches/bench-1");
  CHECK(object_of(one).at("state").as_string() == "idle");
  CHECK(one.headers.at("cache-control") == "no-store");
  check_problem(line.get("/api/v1/benches/bench-9"), 404, "unknown_bench");
}

TEST_CASE("serve: the lists of the desk") {
  House house;
  house.on_io([&] {
    house.desk.lists = {{"gauges", json::array{1}},
                        {"lots", json::array{2}},
                        {"walks", json::array{3}},
                        {"editions", json::array{4}},
                        {"suspects", json::array{5}}};
  });
  auto line = Line::to_port(house.port());
  CHECK(line.get("/api/v1/gauges").body == "[1]");
  CHECK(line.get("/api/v1/lots").body == "[2]");
  CHECK(line.get("/api/v1/walks").body == "[3]");
  CHECK(line.get("/api/v1/checklists").body == "[4]");
  CHECK(line.get("/api/v1/editions").body == "[4]");
  CHECK(line.get("/api/v1/suspects").body == "[5]");
  CHECK(object_of(line.get("/api/v1/health")).at("status").as_string() == "ok");
  check_problem(line.get("/api/v1/nothing"), 404, "unknown_path");
  check_problem(line.get("/nothing"), 404, "unknown_path");
  check_problem(line.get("/pages/nothing.js"), 404, "unknown_path");
}

TEST_CASE("serve: a command reaches the desk with what its sender saw, and its answer comes back") {
  House house;
  auto line = Line::to_port(house.port());
  const auto done =
      line.post("/api/v1/benches/bench-1/commands",
                R"({"kind":"act","saw":{"walk":"w-1","part":"p-1","ask":"a7"},"idempotency_key":"k1",)"
                R"("display":"d1","action":"good","reason":null})");
  CHECK(done.status == 200);
  CHECK(object_of(done).at("done").as_string() == "act");
  house.on_io([&] {
    REQUIRE(house.desk.commands.size() == 1);
    const auto& command = house.desk.commands[0];
    CHECK(command.bench == "bench-1");
    CHECK(command.saw.walk == "w-1");
    CHECK(command.saw.part == "p-1");
    CHECK(command.saw.ask == "a7");
    CHECK(command.idempotency_key == "k1");
    CHECK(command.display == "d1");
    CHECK(json::serialize(command.body) == R"({"action":"good","reason":null})");
  });
  CHECK(line.post("/api/v1/commands", R"({"kind":"open_lot","lot_name":"26-118"})", "Idempotency-Key: k2\r\n")
            .status == 200);
  house.on_io([&] {
    CHECK(house.desk.commands.back().idempotency_key == "k2");
    CHECK(house.desk.commands.back().bench.empty());
  });
}

TEST_CASE("serve: every refusal of the desk is a problem with its status") {
  House house;
  auto line = Line::to_port(house.port());
  const std::vector<std::pair<std::string, int>> refusals{
      {"moved_on", 409}, {"not_now", 409}, {"unknown_lot", 404}, {"wrong_shape", 422},
      {"refused", 422},  {"busy", 503},    {"not_kept", 503}};
  for (const auto& [code, status] : refusals) {
    house.on_io([&, refused = code] {
      house.desk.answer = [refused](const walk::Command&, walk::Answered answered) {
        answered(fail(refused, "what was found", "which place", "what to do"));
      };
    });
    const auto response = line.post("/api/v1/benches/bench-1/commands", R"({"kind":"act"})");
    check_problem(response, status, code);
    CHECK(object_of(response).at("where").as_string() == "which place");
    CHECK(object_of(response).at("remedy").as_string() == "what to do");
  }
  house.on_io([&] {
    house.desk.answer = [](const walk::Command&, walk::Answered answered) {
      answered(fail("too_many_digits", "x"));
    };
  });
  const auto other = line.post("/api/v1/benches/bench-1/commands", R"({"kind":"type_value"})");
  CHECK(other.status == 422);
  CHECK(object_of(other).at("code").as_string() == "too_many_digits");
}

TEST_CASE("serve: a command may be answered later, and a lost answer is said to be unknown") {
  serve::ServeConfig config;
  config.answer_time = std::chrono::milliseconds(200);
  House house(config);
  walk::Answered kept;
  house.on_io([&] {
    house.desk.answer = [&](const walk::Command&, walk::Answered answered) { kept = std::move(answered); };
  });
  auto line = Line::to_port(house.port());
  check_problem(line.post("/api/v1/benches/bench-1/commands", R"({"kind":"act"})"), 504, "no_answer");
  house.on_io([&] { kept(json::object{}); });  // too late: nobody is hurt
  house.on_io([&] {
    house.desk.answer = [&](const walk::Command&, walk::Answered answered) {
      boost::asio::post(house.io, [answered] { answered(json::object{{"later", true}}); });
    };
  });
  auto other = Line::to_port(house.port());
  CHECK(
      object_of(other.post("/api/v1/benches/bench-1/commands", R"({"kind":"act"})")).at("later").as_bool() ==
      true);
}

TEST_CASE("serve: commands that cannot be understood") {
  House house;
  auto line = Line::to_port(house.port());
  const std::string path = "/api/v1/benches/bench-1/commands";
  check_problem(line.post(path, "{"), 400, "not_json");
  check_problem(line.post(path, "[1]"), 422, "wrong_shape");
  check_problem(line.post(path, "{}"), 422, "wrong_shape");
  check_problem(line.post(path, R"({"kind":7})"), 422, "wrong_shape");
  check_problem(line.post(path, R"({"kind":"act","saw":[]})"), 422, "wrong_shape");
  check_problem(line.post(path, R"({"kind":"act","bench":"bench-2"})"), 422, "wrong_shape");
  check_problem(line.post(path, std::string(40, '[') + std::string(40, ']')), 400, "not_json");
  check_problem(line.post("/api/v1/benches/bench-9/commands", R"({"kind":"act"})"), 404, "unknown_bench");
  line.send("POST " + path + " HTTP/1.1\r\nHost: " + line.host +
            "\r\nContent-Type: text/plain\r\nContent-Length: 2\r\n\r\n{}");
  check_problem(line.receive(), 415, "not_a_json_body");
  house.on_io([&] { CHECK(house.desk.commands.empty()); });
}

TEST_CASE("serve: nothing is done by GET, and other methods are refused") {
  House house({}, with_pages());
  for (const std::string method : {"PUT", "DELETE", "PATCH", "OPTIONS", "TRACE"}) {
    auto line = Line::to_port(house.port());
    CAPTURE(method);
    const auto response = line.get("/api/v1/benches", "", method);
    check_problem(response, 405, "method_not_allowed");
    CHECK(response.headers.at("allow") == "GET, HEAD");
  }
  auto line = Line::to_port(house.port());
  const auto get = line.get("/api/v1/benches/bench-1/commands");
  check_problem(get, 405, "method_not_allowed");
  CHECK(get.headers.at("allow") == "POST");
  check_problem(line.post("/api/v1/benches", "{}"), 405, "method_not_allowed");
  check_problem(line.post("/", "{}"), 405, "method_not_allowed");
  check_problem(Line::to_port(house.port()).get("/", "", "FROB"), 501, "not_implemented");
  house.on_io([&] { CHECK(house.desk.commands.empty()); });
}

TEST_CASE("serve: a page is sent compressed to who accepts it, under a tag of its own") {
  House house({}, with_pages());
  auto line = Line::to_port(house.port());
  const auto plain = line.get("/pages/long.js");
  CHECK(plain.body == "export const many = 1;");
  CHECK_FALSE(plain.headers.contains("content-encoding"));
  CHECK(plain.headers.at("vary") == "Accept-Encoding");
  const auto packed = line.get("/pages/long.js", "Accept-Encoding: br, gzip;q=0.8\r\n");
  CHECK(packed.body == "(compressed)");
  CHECK(packed.headers.at("content-encoding") == "gzip");
  CHECK(packed.headers.at("etag") != plain.headers.at("etag"));
  CHECK(line.get("/pages/long.js", "Accept-Encoding: gzip\r\nIf-None-Match: " + packed.headers.at("etag") + "\r\n").status == 304);
  CHECK(line.get("/pages/long.js", "Accept-Encoding: gzip;q=0\r\n").body == "export const many = 1;");
  CHECK_FALSE(line.get("/pages/bench.js", "Accept-Encoding: gzip\r\n").headers.contains("content-encoding"));
}

TEST_CASE("serve: pages come with ETag and a strict policy") {
  House house({}, with_pages());
  auto line = Line::to_port(house.port());
  const auto page = line.get("/bench/bench-1");
  CHECK(page.status == 200);
  CHECK(page.body == "<!doctype html><title>bench</title>");
  CHECK(page.headers.at("content-type") == "text/html; charset=utf-8");
  const auto& policy = page.headers.at("content-security-policy");
  CHECK(policy.find("default-src 'none'") != std::string::npos);
  CHECK(policy.find("unsafe") == std::string::npos);
  const auto script = line.get("/pages/bench.js");
  CHECK(script.headers.at("content-type") == "text/javascript; charset=utf-8");
  const auto etag = script.headers.at("etag");
  const auto again = line.get("/pages/bench.js", "If-None-Match: " + etag + "\r\n");
  CHECK(again.status == 304);
  CHECK(line.get("/pages/bench.js", "If-None-Match: \"other\"\r\n").body == "export const one = 1;");
  const auto head = line.get("/pages/bench.js", "", "HEAD");
  CHECK(head.status == 200);
  CHECK(head.headers.at("content-length") == "21");
  CHECK(line.get("/").body == "<!doctype html><title>benches</title>");
}

TEST_CASE("serve: API.md lists every problem, and each has its page") {
  std::ifstream file(TALLYSTICK_SOURCE_DIR "/daemon/serve/API.md");
  const std::string document{std::istreambuf_iterator<char>(file), {}};
  REQUIRE(!document.empty());
  for (const auto code : serve::problem_codes()) {
    CAPTURE(code);
    CHECK(document.find('`' + std::string(code) + '`') != std::string::npos);
    CHECK(serve::problem_page(code));
  }
}

TEST_CASE("serve: the type of a problem leads to its page") {
  House house;
  auto line = Line::to_port(house.port());
  const auto page = line.get("/problems/moved_on");
  CHECK(page.status == 200);
  CHECK(page.body.find("moved on") != std::string::npos);
  check_problem(line.get("/problems/none-such"), 404, "unknown_path");
}

TEST_CASE("serve: routes of other rooms, in pieces") {
  serve::Surroundings around;
  around.routes.push_back({"/api/v1/results", [](const serve::Request& request) -> Expected<serve::Answer> {
                             if (request.query.contains("lot") && request.query.at("lot") == "none")
                               return fail("unknown_lot", "no lot \"none\"");
                             serve::Answer answer;
                             answer.media_type = "text/csv; charset=utf-8";
                             answer.pull = [count = 0]() mutable -> std::optional<std::string> {
                               if (count == 1000) return std::nullopt;
                               return ++count % 10 == 0 ? std::string() : std::to_string(count) + "\r\n";
                             };
                             return answer;
                           }});
  around.routes.push_back(
      {"/api/v1/broken/{way}", [](const serve::Request& request) -> Expected<serve::Answer> {
         if (request.captured.at("way") == "at-once") throw std::runtime_error("disk on fire");
         serve::Answer answer;
         answer.pull = [count = 0]() mutable -> std::optional<std::string> {
           if (++count == 3) throw std::runtime_error("disk on fire");
           return "piece";
         };
         return answer;
       }});
  around.drawing = [](const std::string& sha) -> Expected<serve::Answer> {
    if (sha != "abc") return fail("unknown_drawing", "no drawing " + sha);
    serve::Answer answer;
    answer.media_type = "image/svg+xml";
    answer.body = "<svg/>";
    return answer;
  };
  House house({}, std::move(around));
  auto line = Line::to_port(house.port());
  const auto csv = line.get("/api/v1/results");
  CHECK(csv.whole);
  CHECK(csv.headers.at("content-type") == "text/csv; charset=utf-8");
  CHECK(csv.body.substr(0, 6) == "1\r\n2\r\n");
  CHECK(std::count(csv.body.begin(), csv.body.end(), '\n') == 900);
  check_problem(line.get("/api/v1/results?lot=none"), 404, "unknown_lot");
  check_problem(line.get("/api/v1/broken/at-once"), 500, "broken");
  CHECK(line.get("/api/v1/drawings/abc").body == "<svg/>");
  check_problem(line.get("/api/v1/drawings/def"), 404, "unknown_drawing");
  const auto cut = line.get("/api/v1/broken/midway");
  CHECK(cut.status == 200);
  CHECK(cut.body == "piecepiece");
  CHECK_FALSE(cut.whole);  // the reader sees that it is not all
}

TEST_CASE("serve: a slow reader of a long answer holds one piece of it in memory") {
  std::atomic<int> pulled{0};
  serve::Surroundings around;
  around.routes.push_back({"/api/v1/results", [&](const serve::Request&) -> Expected<serve::Answer> {
                             serve::Answer answer;
                             answer.pull = [&]() -> std::optional<std::string> {
                               if (++pulled > 10'000) return std::nullopt;
                               return std::string(64 * 1024, 'x');
                             };
                             return answer;
                           }});
  serve::ServeConfig config;
  config.write_time = std::chrono::milliseconds(300);
  House house(config, std::move(around));
  auto line = Line::to_port(house.port(), 4096);
  line.send("GET /api/v1/results HTTP/1.1\r\nHost: " + line.host + "\r\n\r\n");
  std::this_thread::sleep_for(std::chrono::milliseconds(700));
  CHECK(pulled > 0);
  CHECK(pulled < 100);  // what the kernel's buffers hold, not the 10,000
  house.on_io([&] { CHECK(house.server->connections() == 0); });
}

TEST_CASE("serve: over the Unix socket, for its group only") {
  const std::string path = "/tmp/tallystick-serve-test-" + std::to_string(::getpid()) + ".socket";
  serve::ServeConfig config;
  config.unix_socket = path;
  {
    House house(config);
    REQUIRE(house.error.code.empty());
    struct stat found {};
    REQUIRE(::stat(path.c_str(), &found) == 0);
    CHECK((found.st_mode & 0777) == 0660);
    auto line = Line::to_path(path);
    CHECK(line.get("/api/v1/benches/bench-1").status == 200);
    CHECK(line.post("/api/v1/commands", R"({"kind":"publish"})").status == 200);
    line.host = "elsewhere.example";
    check_problem(line.get("/api/v1/benches"), 421, "wrong_host");
    House second(config);
    CHECK(second.error.code == "socket_taken");
  }
  CHECK(::access(path.c_str(), F_OK) != 0);
}

TEST_CASE("serve: only loopback until people can sign in") {
  for (const std::string address : {"0.0.0.0", "::", "192.168.1.5", "10.0.0.1"}) {
    boost::asio::io_context io;
    test::FakeDesk desk;
    serve::ServeConfig config;
    config.address = address;
    config.port = 0;
    const auto started = serve::Server::start(io, config, desk, {});
    REQUIRE_FALSE(started);
    CHECK(started.error().code == "not_loopback");
    CHECK(started.error().what.find("sign in") != std::string::npos);
  }
  boost::asio::io_context io;
  test::FakeDesk desk;
  serve::ServeConfig config;
  config.address = "bench-pc";
  CHECK(serve::Server::start(io, config, desk, {}).error().code == "bad_address");
  House house;
  config.address = "127.0.0.1";
  config.port = house.port();
  CHECK(serve::Server::start(io, config, desk, {}).error().code == "port_taken");
}
