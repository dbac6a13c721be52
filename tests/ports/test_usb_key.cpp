// Gauges that are named by what their adapter is on USB: found whatever the order of plugging in, never
// guessed. Whom the tree stands for: usb_tree.hpp. That a repeated serial number must not be guessed about is
// common practice, no source; the USB specification 2.0 (9.6.1) makes the serial number optional.
#include <poll.h>
#include <rapidcheck.h>
#include <sys/inotify.h>

#include <fstream>

#include "drivers/ports/hot_plug.hpp"
#include "drivers/ports/usb_lines.hpp"
#include "usb_tree.hpp"

using namespace tallystick;
using namespace tallystick::ports;
using namespace tallystick::ports::test;
using namespace std::chrono_literals;
using By = UsbKey::By;

namespace {

struct Bench : Rig {
  explicit Bench(const UsbTree& tree)
      : by_usb(Surroundings{
            loop, sink, clock, log, [] { return 0.5; }, 32, {}, [&tree] { return tree.lines(); }}) {}
  ~Bench() {
    by_usb.stop();
    loop.poll();
  }
  void add(const std::string& name, UsbKey key) {
    auto config = port(name, text(key), dialect(pushed_line), {{"gauge-" + name, "", Speaks::pushed}});
    config.usb = std::move(key);
    REQUIRE(by_usb.add(std::move(config)).has_value());
  }
  PortStatus of(const std::string& name) const {
    for (auto& one : by_usb.status())
      if (one.port == name) return one;
    return {};
  }
  bool comes(const std::string& name, PortState state) {
    return run_until([&] { return of(name).state == state; });
  }
  /// A press, and whose reading it became.
  std::string press(Pty& gauge) {
    run_past_opening_gap();
    const auto before = sink.readings.size();
    gauge.send("+001.000\r");
    return run_until([&] { return sink.readings.size() > before; }, 2s) ? sink.readings.back().gauge : "";
  }
  PortSet by_usb;
};

/// How often any of the files was opened, by whomever.
class Openings {
 public:
  explicit Openings(const std::vector<std::string>& files) : watch_(::inotify_init1(IN_NONBLOCK)) {
    for (const auto& file : files) REQUIRE(::inotify_add_watch(watch_, file.c_str(), IN_OPEN) >= 0);
  }
  ~Openings() { ::close(watch_); }
  bool any() const {
    char buffer[4096];
    return ::read(watch_, buffer, sizeof buffer) > 0;
  }

 private:
  int watch_;
};

FoundPort line(std::string node, std::string socket, std::string serial, std::string id = "1209:0001",
               int interface = 0) {
  FoundPort out;
  out.node = std::move(node);
  out.usb = true;
  out.usb_port = std::move(socket);
  out.serial = std::move(serial);
  out.usb_id = std::move(id);
  out.usb_interface = interface;
  return out;
}

}  // namespace

TEST_CASE("a gauge by its serial number is itself, whatever node and socket it got at this boot") {
  for (const bool swapped : {false, true}) {
    const UsbTree tree;
    Pty a, b;
    tree.plug({swapped ? "ttyUSB1" : "ttyUSB0", swapped ? "1-1.4" : "1-2", "A1"}, a.path());
    tree.plug({swapped ? "ttyUSB0" : "ttyUSB1", swapped ? "1-2" : "1-1.4", "B7"}, b.path());
    Bench bench(tree);
    bench.add("a", {By::serial, "A1"});
    bench.add("b", {By::serial, "B7"});
    bench.by_usb.start();
    REQUIRE(bench.comes("a", PortState::open));
    REQUIRE(bench.comes("b", PortState::open));
    CHECK(bench.press(a) == "gauge-a");
    CHECK(bench.press(b) == "gauge-b");
    CHECK(bench.of("a").path == "usb_serial A1");
    CHECK(bench.of("a").node == a.path());
  }
}

TEST_CASE(
    "plugged in elsewhere with another node it is back as itself, and the other gauge does not notice") {
  const UsbTree tree;
  Pty a, b;
  tree.plug({"ttyUSB0", "1-1", "A1"}, a.path());
  tree.plug({"ttyUSB1", "1-2", "B7"}, b.path());
  Bench bench(tree);
  bench.add("a", {By::serial, "A1"});
  bench.add("b", {By::serial, "B7"});
  bench.by_usb.start();
  REQUIRE(bench.comes("a", PortState::open));
  REQUIRE(bench.comes("b", PortState::open));
  tree.pull({"ttyUSB0", "1-1", "A1"});
  a.hang_up();
  REQUIRE(bench.comes("a", PortState::absent));
  CHECK(bench.of("a").code == "port_absent");
  CHECK(bench.of("a").hint.find("serial B7") != std::string::npos);  // what is there instead
  CHECK(bench.of("a").away_since_utc_us > 0);
  Pty again;
  tree.plug({"ttyUSB2", "1-3.1", "A1"}, again.path());
  const auto plugged = std::chrono::steady_clock::now();
  REQUIRE(bench.comes("a", PortState::open));
  CHECK(std::chrono::steady_clock::now() - plugged < 1s);
  CHECK(bench.press(again) == "gauge-a");
  CHECK(bench.press(b) == "gauge-b");
  CHECK(bench.of("b").losses == 0);
}

TEST_CASE("one serial number twice: neither is opened, both are named with node and socket") {
  const UsbTree tree;
  Pty a, b;
  const Openings openings({a.path(), b.path()});
  tree.plug({"ttyUSB0", "1-1", "0001"}, a.path());
  tree.plug({"ttyUSB1", "1-2.3", "0001"}, b.path());
  Bench bench(tree);
  bench.add("a", {By::serial, "0001"});
  bench.by_usb.start();
  REQUIRE(bench.comes("a", PortState::backing_off));
  bench.run_for(600ms);  // tried again meanwhile
  const auto status = bench.of("a");
  CHECK(status.code == "port_ambiguous");
  CHECK(status.attempts >= 2);
  for (const auto& named :
       {tree.node("ttyUSB0"), tree.node("ttyUSB1"), std::string("1-1"), std::string("1-2.3")})
    CHECK(status.why.find(named) != std::string::npos);
  CHECK(status.hint.find("usb_port = \"1-1\"") != std::string::npos);
  CHECK_FALSE(openings.any());
  // Held against a person's own opening, so that the watch is known to see one.
  ::close(::open(a.path().c_str(), O_RDWR | O_NOCTTY));
  CHECK(openings.any());
  // Their sockets tell them apart.
  bench.add("by-socket", {By::port, "1-2.3"});
  REQUIRE(bench.comes("by-socket", PortState::open));
  CHECK(bench.press(b) == "gauge-by-socket");
}

TEST_CASE("a twin that comes later is told of; when the gauge goes, the twin is not taken for it") {
  const UsbTree tree;
  Pty a, twin;
  tree.plug({"ttyUSB0", "1-1", "0001"}, a.path());
  Bench bench(tree);
  bench.add("a", {By::serial, "0001"});
  bench.by_usb.start();
  REQUIRE(bench.comes("a", PortState::open));
  const Openings openings({twin.path()});
  tree.plug({"ttyUSB1", "1-2", "0001"}, twin.path());
  bench.by_usb.look_again();
  REQUIRE(bench.of("a").warnings.size() == 1);
  CHECK(bench.of("a").warnings[0].find("1-2") != std::string::npos);
  CHECK(bench.press(a) == "gauge-a");  // the held one is the one that it was
  tree.pull({"ttyUSB0", "1-1", "0001"});
  a.hang_up();
  REQUIRE(bench.comes("a", PortState::backing_off));
  CHECK(bench.of("a").code == "port_ambiguous");
  CHECK_FALSE(openings.any());
  // Back in its own socket, and the twin gone: it is taken, and the warning is over.
  tree.pull({"ttyUSB1", "1-2", "0001"});
  Pty again;
  tree.plug({"ttyUSB1", "1-1", "0001"}, again.path());
  REQUIRE(bench.comes("a", PortState::open));
  CHECK(bench.of("a").warnings.empty());
  CHECK(bench.press(again) == "gauge-a");
}

TEST_CASE("the key's line moves while the old one lives: the key is the identity") {
  const UsbTree tree;
  Pty a, b;
  tree.plug({"ttyUSB0", "1-1", "A1"}, a.path());
  Bench bench(tree);
  bench.add("socket", {By::port, "1-1"});
  bench.by_usb.start();
  REQUIRE(bench.comes("socket", PortState::open));
  tree.pull({"ttyUSB0", "1-1", "A1"});
  tree.plug({"ttyUSB1", "1-1", "B7"}, b.path());
  bench.by_usb.look_again();
  REQUIRE(bench.comes("socket", PortState::open));
  CHECK(bench.of("socket").node == b.path());
  CHECK(bench.of("socket").losses == 1);
}

TEST_CASE("none plugged in is no fault of the start, and says so") {
  const UsbTree tree;
  Bench bench(tree);
  bench.add("a", {By::serial, "A1"});
  bench.by_usb.start();
  CHECK(bench.of("a").state == PortState::absent);
  CHECK(bench.of("a").why == "nothing is plugged in that is usb_serial A1");
  CHECK(bench.of("a").hint.find("no USB serial line is plugged in") != std::string::npos);
}

TEST_CASE("vendor and product name the only one of its kind; the case of the digits does not matter") {
  UsbChoice choice({By::id, "04D8:00ab"});
  const auto only =
      choice.among({line("/dev/ttyACM0", "1-1", "", "04d8:00AB"), line("/dev/ttyUSB0", "1-2", "A1")}, "a");
  REQUIRE(only.has_value());
  CHECK(only->node == "/dev/ttyACM0");
  const auto two = choice.among(
      {line("/dev/ttyACM0", "1-1", "", "04d8:00ab"), line("/dev/ttyACM1", "1-2", "X", "04d8:00ab")}, "a");
  REQUIRE_FALSE(two.has_value());
  CHECK(two.error().code == "port_ambiguous");
  CHECK(two.error().where == "port a");
}

TEST_CASE("an adapter with several lines is narrowed by the interface") {
  const std::vector<FoundPort> lines = {line("/dev/ttyUSB0", "1-1", "Q4", "0403:6011", 0),
                                        line("/dev/ttyUSB1", "1-1", "Q4", "0403:6011", 1)};
  const auto both = UsbChoice({By::serial, "Q4"}).among(lines, "a");
  REQUIRE_FALSE(both.has_value());
  CHECK(both.error().hint.find("usb_interface") != std::string::npos);
  const auto second = UsbChoice({By::serial, "Q4", 1}).among(lines, "a");
  REQUIRE(second.has_value());
  CHECK(second->node == "/dev/ttyUSB1");
  CHECK(better_key(lines[1], lines) == "usb_serial = \"Q4\" and usb_interface = 1");
}

TEST_CASE("the better key names one line of all; a plain node's warning suggests it") {
  const std::vector<FoundPort> lines = {
      line("/dev/ttyUSB0", "1-1", "A1"), line("/dev/ttyUSB1", "1-2", "0001"),
      line("/dev/ttyUSB2", "1-3", "0001"), line("/dev/ttyUSB3", "1-4.2", "")};
  CHECK(better_key(lines[0], lines) == "usb_serial = \"A1\"");
  CHECK(better_key(lines[1], lines) == "usb_port = \"1-2\"");
  CHECK(better_key(lines[3], lines) == "usb_port = \"1-4.2\"");
  CHECK(better_key(FoundPort{}, lines).empty());

  Rig rig;
  PortSet ports(Surroundings{
      rig.loop, rig.sink, rig.clock, rig.log, [] { return 0.5; }, 32, {}, [&] { return lines; }});
  REQUIRE(ports.add(port("a", "/dev/ttyUSB0", dialect(pushed_line), {})).has_value());
  ports.start();
  REQUIRE(ports.status().at(0).warnings.size() == 1);
  CHECK(ports.status().at(0).warnings[0].find("write usb_serial = \"A1\" instead") != std::string::npos);
  ports.stop();
}

TEST_CASE("a by-id link that two adapters share is refused, one that is its own is not") {
  const std::string link = "/dev/serial/by-id/usb-Invented_0001-if00";
  const std::vector<FoundPort> lines = {line("/dev/ttyUSB0", "1-1", "0001"),
                                        line("/dev/ttyUSB1", "1-2", "0001"),
                                        line("/dev/ttyUSB2", "1-3", "A1")};
  const auto shared = only_of_its_name(link, "/dev/ttyUSB1", lines, "a");
  REQUIRE_FALSE(shared.has_value());
  CHECK(shared.error().code == "port_ambiguous");
  CHECK(shared.error().what.find("/dev/ttyUSB0 in socket 1-1") != std::string::npos);
  CHECK(only_of_its_name(link, "/dev/ttyUSB2", lines, "a").has_value());
  CHECK(only_of_its_name(link, "/dev/pts/3", lines, "a").has_value());
}

TEST_CASE("a port by a shared link is not opened until the link is one adapter's own") {
  Pty a, twin;
  const Folder folder;
  std::filesystem::create_directories(folder / "by-id");
  std::filesystem::create_symlink(a.path(), folder / "by-id/usb-Invented_0001-if00");
  std::vector<FoundPort> lines = {line(a.path(), "1-1", "0001"), line(twin.path(), "1-2", "0001")};
  Rig rig;
  Surroundings around{rig.loop, rig.sink, rig.clock, rig.log, [] { return 0.5; }};
  around.find_usb_lines = [&] { return lines; };
  PortSet ports(around);
  REQUIRE(
      ports.add(port("a", folder / "by-id/usb-Invented_0001-if00", dialect(pushed_line), {})).has_value());
  const Openings openings({a.path(), twin.path()});
  ports.start();
  CHECK(ports.status().at(0).state == PortState::backing_off);
  CHECK(ports.status().at(0).code == "port_ambiguous");
  CHECK_FALSE(openings.any());
  lines.pop_back();
  ports.look_again();
  CHECK(ports.status().at(0).state == PortState::open);
  // A twin that comes while the line is held is told of.
  lines.push_back(line(twin.path(), "1-2", "0001"));
  ports.look_again();
  CHECK(ports.status().at(0).state == PortState::open);
  REQUIRE(ports.status().at(0).warnings.size() == 1);
  CHECK(ports.status().at(0).warnings[0].find("2 adapters share the link") == 0);
  ports.stop();
  rig.loop.poll();
}

TEST_CASE("property: a line is taken where exactly one matches, and never another") {
  rc::check([] {
    const auto serial = rc::gen::element<std::string>("", "A1", "0001", "B7");
    const auto count = *rc::gen::inRange(0, 5);
    std::vector<FoundPort> lines;
    for (int n = 0; n < count; ++n)
      lines.push_back(line("/dev/ttyUSB" + std::to_string(n), "1-" + std::to_string(n + 1), *serial,
                           *rc::gen::element<std::string>("1209:0001", "0403:6001"),
                           *rc::gen::inRange(0, 2)));
    const std::vector<UsbKey> keys = {{By::serial, "A1"},
                                      {By::serial, "0001"},
                                      {By::port, "1-2"},
                                      {By::id, "0403:6001"},
                                      {By::serial, "A1", 1}};
    const UsbKey key = *rc::gen::elementOf(keys);
    std::vector<std::string> wanted;
    for (const auto& one : lines) {
      const bool named = key.by == By::serial ? one.serial == key.value
                         : key.by == By::port ? one.usb_port == key.value
                                              : one.usb_id == key.value;
      if (named && (key.interface < 0 || key.interface == one.usb_interface)) wanted.push_back(one.node);
    }
    const auto found = UsbChoice(key).among(lines, "a");
    RC_ASSERT(found.has_value() == (wanted.size() == 1));
    if (found)
      RC_ASSERT(found->node == wanted[0]);
    else
      RC_ASSERT(found.error().code == (wanted.empty() ? "port_absent" : "port_ambiguous"));
  });
}

TEST_CASE("the machine's own lines can be listed, and udev is heard where it runs") {
  for (const auto& one : usb_lines()) {
    CHECK(one.usb);
    CHECK(one.node.rfind("/dev/tty", 0) == 0);
    CHECK_FALSE(one.usb_port.empty());
  }
  boost::asio::io_context loop;
  const auto hot_plug = std::make_shared<HotPlug>(loop, [] {});
  const bool heard = hot_plug->start();
  hot_plug->stop();
  if (::access("/run/udev/control", F_OK) != 0) CHECK_FALSE(heard);
}
