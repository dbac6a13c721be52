// A thousand times unplugged and plugged in again: nothing grows. The figures are printed.
#include <iostream>

#include "usb_tree.hpp"

using namespace tallystick;
using namespace tallystick::ports;
using namespace tallystick::ports::test;
using namespace std::chrono_literals;

namespace {

/// Memory that is resident, in KiB (proc(5), /proc/PID/statm counts pages).
long resident_kib() {
  std::ifstream file("/proc/self/statm");
  long size = 0, resident = 0;
  file >> size >> resident;
  return resident * (::sysconf(_SC_PAGESIZE) / 1024);
}

std::string fast_line() {
  std::string out = pushed_line;
  out.replace(out.find("9600"), 4, "115200");
  out.replace(out.find("longest"), 0,
              "idle_gap_ms = 1\n");  // and so is the gap that is waited for after opening
  return out;
}

}  // namespace

TEST_CASE(
    "1,000 times unplugged and plugged in: every press is read once, memory and descriptors do not grow") {
  constexpr int warm = 100, cycles = 1000;
  const UsbTree tree;
  Folder folder;
  Rig rig;
  PortSet ports(Surroundings{rig.loop, rig.sink, rig.clock, rig.log, [] { return 0.5; }, 32, {},
                             [&tree] { return tree.lines(); }});
  const auto how = dialect(fast_line());
  REQUIRE(ports.add(port("by-link", folder / "gauge", how, {{"one", "", Speaks::pushed}})).has_value());
  auto by_serial = port("by-serial", "usb_serial A1", how, {{"two", "", Speaks::pushed}});
  by_serial.usb = {UsbKey::By::serial, "A1"};
  REQUIRE(ports.add(std::move(by_serial)).has_value());
  ports.start();
  const auto both = [&](PortState state) {
    for (const auto& one : ports.status())
      if (one.state != state) return false;
    return true;
  };
  long memory = 0;
  std::size_t descriptors = 0, readings = 0;
  const auto began = std::chrono::steady_clock::now();
  for (int cycle = 0; cycle < cycles; ++cycle) {
    const Adapter adapter{"ttyUSB" + std::to_string(cycle % 3), "1-" + std::to_string(1 + cycle % 4), "A1"};
    {
      Pty link, usb;
      folder.link("gauge", link.path());  // the folder is watched
      tree.plug(adapter, usb.path());
      ports.look_again();  // as udev would tell
      REQUIRE_MESSAGE(rig.run_until([&] { return both(PortState::open); }), "cycle " << cycle);
      rig.run_for(4ms);
      link.send("+001.000\r"), usb.send("+002.000\r");
      REQUIRE_MESSAGE(rig.run_until([&] { return rig.sink.readings.size() == 2; }), "cycle " << cycle);
      readings += rig.sink.readings.size();
      link.send("+99");  // cut short: never a reading
    }
    tree.pull(adapter);
    std::filesystem::remove(folder / "gauge");
    REQUIRE_MESSAGE(rig.run_until([&] {
      const auto all = ports.status();
      return std::none_of(all.begin(), all.end(),
                          [](const auto& one) { return one.state == PortState::open; });
    }),
                    "cycle " << cycle);
    rig.sink.readings.clear(), rig.sink.refusals.clear(), rig.sink.changes.clear();
    rig.lines.str({});
    if (cycle + 1 == warm) memory = resident_kib(), descriptors = open_descriptors();
  }
  const auto took =
      std::chrono::duration_cast<std::chrono::milliseconds>(std::chrono::steady_clock::now() - began);
  CHECK(readings == 2 * cycles);
  CHECK(open_descriptors() == descriptors);
#ifndef __SANITIZE_ADDRESS__  // which keeps what was given back for a while, to find who still uses it
  CHECK(resident_kib() - memory < 1024);
#endif
  for (const auto& one : ports.status()) CHECK(one.losses == cycles);
  std::cout << "plug cycles: " << cycles << " of two ports in " << took.count() << " ms; resident " << memory
            << " KiB after " << warm << ", " << resident_kib() << " KiB after " << cycles << "; descriptors "
            << descriptors << " and " << open_descriptors() << std::endl;
  ports.stop();
  rig.loop.poll();
}
