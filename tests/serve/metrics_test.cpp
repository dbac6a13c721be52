// The text for monitoring, and the codes of problems against the source.
#include <doctest/doctest.h>

#include <filesystem>
#include <fstream>
#include <regex>
#include <set>
#include <sstream>

#include "daemon/serve/metrics.hpp"
#include "daemon/serve/problem.hpp"
#include "tests/serve/client.hpp"
#include "tests/serve/fake_desk.hpp"

namespace tallystick {
namespace {

std::string content(const std::filesystem::path& file) {
  std::ifstream in(file, std::ios::binary);
  return {std::istreambuf_iterator<char>(in), {}};
}

serve::Measured invented() {
  serve::Measured out;
  out.version = "0.1.0";
  out.health = {{"clock", {{"trusted", true}}}, {"branch", 2}};
  out.ports =
      boost::json::parse(R"([{"port":"micrometer","state":"open","bytes":36,"losses":1,"late_replies":0,
    "unsolicited":0,"unanswered":0,"last_heard_utc_us":1795621120000905},
    {"port":"odd \"name\"\\","state":"absent","bytes":0,"losses":0,"late_replies":2,"unsolicited":3,"unanswered":4,
    "last_heard_utc_us":0}])");
  out.recent = boost::json::parse(
      R"([{"gauge":"micrometer","port":"micrometer","readings":4,"refusals":{"checksum":2}},
    {"gauge":"","port":"micrometer","readings":0,"refusals":{"too_long":1}}])");
  out.gauges = boost::json::parse(R"([{"id":"micrometer","bench":"bench-1","fit":true},
    {"id":"bore","bench":"bench-1","fit":false}])");
  out.walks = boost::json::parse("[{},{}]");
  out.suspects = boost::json::parse("[{}]");
  out.faults = 3;
  out.connections = 5;
  out.benches = 1;
  return out;
}

}  // namespace

TEST_CASE("serve: the text for monitoring is the golden one") {
  const std::filesystem::path golden = TALLYSTICK_SOURCE_DIR "/tests/serve/golden.metrics";
  const auto made = serve::metrics_text(invented());
  if (std::getenv("TALLYSTICK_REWRITE_EXPECTED")) std::ofstream(golden, std::ios::binary) << made;
  CHECK(made == content(golden));
}

TEST_CASE("serve: the text for monitoring stays whole where nothing is there to tell") {
  const auto made = serve::metrics_text({});
  CHECK(made.ends_with("# EOF\n"));
  CHECK(made.find("tallystick_keeping 1\n") != std::string::npos);
}

TEST_CASE("serve: every code of an error in the source of the daemon has its page") {
  // fail("code", Error{"code", refuse({"code", problem("code": the ways in which an error is made.
  const std::regex made(R"re((?:fail|problem)\(\s*"([a-z_]+)"|Error\{"([a-z_]+)"|refuse\(\{"([a-z_]+)")re");
  std::set<std::string> missing;
  std::size_t found = 0;
  for (const char* top : {"/daemon", "/drivers"})
    for (const auto& file :
         std::filesystem::recursive_directory_iterator(std::string(TALLYSTICK_SOURCE_DIR) + top)) {
      if (file.path().extension() != ".cpp" && file.path().extension() != ".hpp") continue;
      const auto text = content(file.path());
      for (std::sregex_iterator at(text.begin(), text.end(), made), end; at != end; ++at) {
        const auto code = (*at)[1].str() + (*at)[2].str() + (*at)[3].str();
        ++found;
        if (!serve::problem_page(code)) missing.insert(code + " in " + file.path().filename().string());
      }
    }
  CHECK(found > 200);
  std::string all;
  for (const auto& one : missing) all += one + "; ";
  CHECK(all == "");
}

}  // namespace tallystick
