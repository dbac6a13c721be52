// The folder driver: from a file to a reading.
#include <sys/stat.h>

#include <fstream>

#include "port_rig.hpp"

using namespace tallystick;
using namespace tallystick::ports;
using namespace tallystick::ports::test;
using namespace std::chrono_literals;

namespace {

struct Files : Rig {
  Folder folder;
  explicit Files(const std::function<void(PortConfig&)>& change = [](auto&) {}) {
    std::filesystem::create_directory(folder / "in");
    auto config = port("p", folder / "in", dialect(pushed_line), {{"probe", "", Speaks::pushed}});
    config.driver = "folder";
    change(config);
    REQUIRE(ports.add(std::move(config)).has_value());
    ports.start();
    REQUIRE(run_until_state("p", PortState::open));
  }
  void append(std::string_view name, std::string_view text) {
    std::ofstream(folder / ("in/" + std::string(name)), std::ios::binary | std::ios::app) << text;
  }
};

}  // namespace

TEST_CASE("appended lines are readings within a moment; the frame is the line as it stands in the file") {
  Files files;
  const auto before = files.clock.now();
  files.append("a.csv", "+012.345\r\n");
  REQUIRE(files.run_until([&] { return files.sink.readings.size() == 1; }, 1s));
  const auto& reading = files.sink.readings[0];
  CHECK(reading.gauge == "probe");
  CHECK(reading.decoded.value_text == "12.345");
  CHECK(reading.cause == Cause::pushed);
  CHECK(reading.frame.bytes == "+012.345\r\n");
  CHECK(elapsed_ns(reading.stamp(), files.clock.now()) >= 0);
  CHECK(std::abs(reading.stamp().utc_us - before.utc_us) < 1'000'000);
  files.append("a.csv", "Nr;value\n+001.000\n");
  REQUIRE(files.run_until([&] { return files.sink.readings.size() == 2; }, 1s));
  REQUIRE(files.sink.refusals.size() == 1);
  CHECK(files.sink.refusals[0].second.detail.find("(in a.csv)") != std::string::npos);
  CHECK(files.status("p").bytes > 0);
  CHECK(files.ports.ask("probe").error().code == "not_asked");
}

TEST_CASE("a line from before the last look is never younger than its file") {
  Files files([](PortConfig& config) { config.folder.files = "*.csv"; });
  files.append("old.tmp", "+012.345\n");
  const timespec times[2] = {{1'700'000'000, 0}, {1'700'000'000, 0}};
  REQUIRE(::utimensat(AT_FDCWD, (files.folder / "in/old.tmp").c_str(), times, 0) == 0);
  const auto before = files.clock.now();
  std::filesystem::rename(files.folder / "in/old.tmp", files.folder / "in/new.csv");
  REQUIRE(files.run_until([&] { return files.sink.readings.size() == 1; }, 1s));
  // Its time is a year ago; it is not put before the look that did not show it yet.
  CHECK(files.sink.readings[0].stamp().utc_us < before.utc_us + 1000);
  CHECK(files.sink.readings[0].stamp().utc_us > before.utc_us - 10'000'000);
}

TEST_CASE("the folder goes and comes; what was written meanwhile is taken") {
  Files files;
  files.append("a.csv", "+001.000\n");
  REQUIRE(files.run_until([&] { return files.sink.readings.size() == 1; }, 1s));
  std::filesystem::rename(files.folder / "in", files.folder / "away");
  REQUIRE(files.run_until_state("p", PortState::absent));
  CHECK(files.status("p").code == "port_absent");
  std::ofstream(files.folder / "away/a.csv", std::ios::app) << "+002.000\n";
  std::filesystem::rename(files.folder / "away", files.folder / "in");
  REQUIRE(files.run_until_state("p", PortState::open));
  REQUIRE(files.run_until([&] { return files.sink.readings.size() == 2; }, 1s));
  CHECK(files.sink.readings[1].decoded.value_text == "2.000");
  files.append("a.csv", "+003.000\n");
  REQUIRE(files.run_until([&] { return files.sink.readings.size() == 3; }, 1s));
}

TEST_CASE("files and stops leave nothing open") {
  ::usleep(300'000);  // the threads of the cases before end by themselves
  const auto before = open_descriptors();
  {
    Files files;
    files.append("a.csv", "+001.000\n");
    REQUIRE(files.run_until([&] { return files.sink.readings.size() == 1; }, 1s));
    CHECK(files.ports.remove("p").has_value());
    files.append("a.csv", "+002.000\n");
    files.run_for(50ms);
    CHECK(files.sink.readings.size() == 1);
  }
  const auto end = std::chrono::steady_clock::now() + 2s;
  while (open_descriptors() > before && std::chrono::steady_clock::now() < end) ::usleep(1000);
  CHECK(open_descriptors() == before);
}

TEST_CASE("a dialect of gauges that are asked has no place at a folder") {
  Rig rig;
  Folder folder;
  auto config = port("p", folder / "", dialect(pushed_line), {});
  auto asked = *config.dialect;
  asked.speaks = Speaks::asked;
  config.dialect = std::make_shared<const Dialect>(asked);
  config.driver = "folder";
  CHECK(rig.ports.add(config).error().code == "contradiction");
}
