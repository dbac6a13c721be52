#include <doctest/doctest.h>

#include "daemon/shop/shop_config.hpp"

using namespace tallystick;
using namespace tallystick::shop;

namespace {

// Invented. Lines are counted from 1: tests name them.
const std::string config_text = R"toml(families = ["pin.family.toml"]
dialect_folders = ["dialects"]
[shop]
name = "Shop (invented)"
decimal_mark = ","
theme = "dark"
[daemon]
port = 0
data = "data"
clock = "own"
[[bench]]
id = "bench-1"
name = "bench 1"
[[master]]
id = "ring-25"
size = "25.002"
unit = "mm"
calibration_due = "2027-06-30"
[[tool]]
id = "plug-1"
kind = "thread-plug-m6"
[[person]]
name = "R. Field"
[[port]]
id = "receiver"
path = "/dev/serial/by-id/receiver"
dialect = "channel-unit"
[[gauge]]
id = "bore-gauge"
kind = "bore-gauge"
bench = "bench-1"
port = "receiver"
channel = "01"
unit = "mm"
range_lower = "20"
range_upper = "30"
resolution = "0.001"
reads = "difference"
[gauge.setting]
master = "ring-25"
limit = "0.002"
hours = 5
parts = 40
void_on = ["power", "person"]
[[gauge]]
id = "micrometer"
kind = "outside-micrometer"
bench = "bench-1"
port = "receiver"
channel = "02"
unit = "mm"
range_lower = "25"
range_upper = "50"
resolution = "0.001"
[[run_change]]
kind = "coolant"
then = "nothing"
[reasons]
retake = ["dirty"]
pass_over = ["no gauge"]
publish = ["new size"]
)toml";

std::string with(std::string text, const std::string& before, const std::string& after) {
  const auto at = text.find(before);
  REQUIRE(at != std::string::npos);
  return text.replace(at, before.size(), after);
}

/// "line code" of every fault, "; " between.
std::string places(const ReadConfig& read) {
  std::string out;
  for (const auto& fault : read.faults)
    out += (out.empty() ? "" : "; ") + std::to_string(fault.line) + " " + fault.code;
  return out;
}
std::string places(const std::string& before, const std::string& after) {
  return places(read_config(with(config_text, before, after), "tallystick.toml"));
}
std::string remedy(const std::string& before, const std::string& after) {
  return read_config(with(config_text, before, after), "tallystick.toml").faults.at(0).remedy;
}

}  // namespace

TEST_CASE("a configuration is read whole") {
  const auto read = read_config(config_text, "tallystick.toml");
  CHECK(places(read).empty());
  const auto& config = read.config;
  CHECK(config.name == "Shop (invented)");
  CHECK(config.decimal_mark == ",");
  CHECK(config.daemon.clock == "own");
  REQUIRE(config.gauges.size() == 2);
  CHECK(read.gauge_lines == std::vector<int>{28, 45});
  const auto& bore = config.gauges[0];
  CHECK(bore.dialect == "channel-unit");
  CHECK(bore.setting.size == "25.002");
  CHECK(bore.setting.hours == 5);
  CHECK(bore.setting.parts == 40);
  CHECK(bore.setting.void_on == std::vector<std::string>{"power", "person"});
  CHECK(config.gauges[1].setting.master.empty());
  CHECK(config.gauges[1].look_time_s == 0.4);
  CHECK(config.reasons.retake == std::vector<std::string>{"dirty"});
}

TEST_CASE("what follows a run change has the shop's defaults and may be added to or replaced") {
  const auto follows = [](const ShopConfig& config, const std::string& kind) {
    for (const auto& change : config.run_changes)
      if (change.kind == kind) return change.then;
    return std::string("unknown");
  };
  const auto config = read_config(config_text, "tallystick.toml").config;
  CHECK(follows(config, "wear_offset") == "features_named");
  CHECK(follows(config, "tool") == "first_part_and_release");
  CHECK(follows(config, "program") == "first_part_and_release");
  CHECK(follows(config, "material") == "first_part");
  CHECK(follows(config, "machinist") == "first_part");
  CHECK(follows(config, "coolant") == "nothing");
  CHECK(follows(read_config(with(config_text, "\"coolant\"", "\"tool\""), "t").config, "tool") == "nothing");
}

TEST_CASE("unknown keys and words are told with what they may have meant") {
  CHECK(places("decimal_mark", "decimal_marc") == "5 unknown_key");
  CHECK(remedy("decimal_mark", "decimal_marc") == "did you mean \"decimal_mark\"?");
  CHECK(remedy("theme = \"dark\"", "theme = \"drak\"") == "did you mean \"dark\"?");
  CHECK(remedy("reads = \"difference\"", "reads = \"differences\"") == "did you mean \"difference\"?");
  CHECK(remedy("[[person]]", "[[persn]]") == "did you mean \"person\"?");
}

TEST_CASE("what is named exists") {
  CHECK(places("bench = \"bench-1\"", "bench = \"bench-l\"") == "31 unknown_bench");
  CHECK(remedy("bench = \"bench-1\"", "bench = \"bench-l\"") == "did you mean \"bench-1\"?");
  CHECK(places("port = \"receiver\"", "port = \"reciever\"") == "32 unknown_port");
  CHECK(places("master = \"ring-25\"", "master = \"ring-26\"") == "40 unknown_master");
}

TEST_CASE("judged values are texts in quotes") {
  CHECK(places("limit = \"0.002\"", "limit = 0.002") == "41 bare_number");
  CHECK(remedy("limit = \"0.002\"", "limit = 0.0020") == "put it in quotes: limit = \"0.0020\"");
  CHECK(places("size = \"25.002\"", "size = 25.002").starts_with("16 bare_number"));
  CHECK(places("resolution = \"0.001\"", "resolution = \"0,001\"").find("37 not_a_decimal") !=
        std::string::npos);
}

TEST_CASE("a gauge that cannot be right is left out and told") {
  CHECK(places("range_upper = \"30\"", "range_upper = \"20\"").find("36 limits_crossed") !=
        std::string::npos);
  CHECK(places("range_upper = \"30\"", "range_upper = \"24\"") ==
        "40 out_of_range");  // its ring lies outside
  CHECK(places("resolution = \"0.001\"", "resolution = \"0\"") == "37 out_of_range");
  CHECK(places("channel = \"02\"", "channel = \"01\"") == "50 double_channel");
  CHECK(places("channel = \"02\"\n", "") == "45 double_channel");
  CHECK(places("id = \"micrometer\"", "id = \"bore-gauge\"") == "46 double_id");
  CHECK(places("id = \"micrometer\"", "id = \"Micrometer 1\"") == "46 bad_id");
  CHECK(places("unit = \"mm\"\nrange_lower = \"25\"", "unit = \"mn\"\nrange_lower = \"25\"") ==
        "51 unknown_unit");
  const auto read = read_config(with(config_text, "id = \"micrometer\"", "id = \"Micrometer 1\""), "t");
  REQUIRE(read.config.gauges.size() == 1);  // the other one serves on
  CHECK(places("[gauge.setting]\nmaster = \"ring-25\"\nlimit = \"0.002\"\nhours = 5\nparts = 40\nvoid_on = "
               "[\"power\", \"person\"]\n",
               "") == "38 no_master");
  CHECK(places("\"power\", \"person\"", "\"power\", \"persons\"") == "44 unknown_word");
}

TEST_CASE("a master's own size is as marked plus its calibrated deviation; its uncertainty and due day come with it") {
  const auto config = read_config(with(config_text, "calibration_due = \"2027-06-30\"",
                                       "deviation = \"-0.0004\"\nuncertainty = \"0.0006\"\ncalibrated = \"2026-06-30\"\n"
                                       "calibration_due = \"2027-06-30\""),
                                  "t")
                          .config;
  REQUIRE(config.masters.size() == 1);
  CHECK(config.masters[0].size == "25.002");
  CHECK(config.masters[0].deviation == "-0.0004");
  const auto& rule = config.gauges[0].setting;
  CHECK(rule.size == "25.0016");
  CHECK(rule.uncertainty == "0.0006");
  CHECK(rule.due == "2027-06-30");
  // In inches for a gauge in mm: 0.0001 in is 0.00254 mm exactly.
  const auto inches = read_config(with(with(config_text, "size = \"25.002\"\nunit = \"mm\"", "size = \"0.9842\"\ndeviation = \"0.0001\"\nunit = \"in\""),
                                       "limit = \"0.002\"", "limit = \"0.02\""), "t").config;
  CHECK(inches.gauges[0].setting.size == "25.00122");
  CHECK(places("calibration_due = \"2027-06-30\"", "uncertainty = \"0.002\"") == "41 guard_too_wide");  // nothing is left of the limit
  CHECK(places("calibration_due = \"2027-06-30\"", "uncertainty = \"-0.001\"") == "18 out_of_range");
  CHECK(places("calibration_due = \"2027-06-30\"", "deviation = -0.001") == "18 bare_number");
  CHECK(places("calibration_due = \"2027-06-30\"", "calibrated = \"2027-07-01\"\ncalibration_due = \"2027-06-30\"") == "19 contradiction");
  CHECK(places("calibration_due = \"2027-06-30\"", "calibrated = \"2027-02-30\"") == "18 bad_date");
}

TEST_CASE("a setting at two points: the second master, its limit, a limit on the gain") {
  const auto second = with(config_text, "[[tool]]", "[[master]]\nid = \"ring-29\"\nsize = \"29.001\"\nunit = \"mm\"\n[[tool]]");
  const auto setting = [&](const std::string& more) { return read_config(with(second, "limit = \"0.002\"\n", "limit = \"0.002\"\n" + more), "t"); };
  const auto read = setting("second_master = \"ring-29\"\nsecond_limit = \"0.003\"\ngain_limit = \"0.0005\"\n");
  CHECK(places(read).empty());
  const auto& rule = read.config.gauges.at(0).setting;
  CHECK(rule.master_2 == "ring-29");
  CHECK(rule.size_2 == "29.001");
  CHECK(rule.limit_2 == "0.003");
  CHECK(rule.gain_limit == "0.0005");
  CHECK(places(setting("second_master = \"ring-29\"\n")) == "43 missing_key");
  CHECK(places(setting("second_master = \"ring-92\"\nsecond_limit = \"0.003\"\n")) == "46 unknown_master");
  CHECK(places(setting("gain_limit = \"0.0005\"\n")) == "46 contradiction");
  CHECK(places(setting("second_master = \"ring-25\"\nsecond_limit = \"0.003\"\n")) == "46 contradiction");  // one size twice
  CHECK(places(setting("second_master = \"ring-29\"\nsecond_limit = \"0.003\"\ngain_limit = \"-1\"\n")) == "48 wrong_value");
}

TEST_CASE("the lists of reasons for suspects and dispositions have the shop's defaults, and may not be empty") {
  const auto reasons = read_config(config_text, "t").config.reasons;
  CHECK(reasons.suspect.size() >= 3);
  CHECK(reasons.disposition.size() >= 3);
  const auto own = read_config(with(config_text, "retake = [\"dirty\"]", "retake = [\"dirty\"]\nsuspect = [\"asked the customer\"]"), "t").config.reasons;
  CHECK(own.suspect == std::vector<std::string>{"asked the customer"});
  CHECK(places("retake = [\"dirty\"]", "retake = [\"dirty\"]\ndisposition = []") == "60 empty");
}

TEST_CASE("an address that others can reach is refused while nobody signs in") {
  CHECK(places("port = 0", "port = 0\naddress = \"0.0.0.0\"") == "9 not_loopback");
  CHECK(places("port = 0", "port = 70000") == "8 out_of_range");
  CHECK(places("port = 0", "port = \"7411\"") == "8 wrong_type");
}

TEST_CASE("dates are days that exist") {
  CHECK(places("2027-06-30", "2027-06-31") == "18 bad_date");
  CHECK(places("2027-06-30", "30.6.2027") == "18 bad_date");
}

TEST_CASE("reasons come from lists, so there have to be lists") {
  CHECK(places("retake = [\"dirty\"]", "retake = []") == "59 empty");
}

TEST_CASE("all faults at once, in the order of lines") {
  auto toml = with(config_text, "theme = \"dark\"", "theme = \"drak\"");
  toml = with(toml, "2027-06-30", "2027-06-31");
  toml = with(toml, "limit = \"0.002\"", "limit = 0.002");
  CHECK(places(read_config(toml, "t")) == "6 unknown_word; 18 bad_date; 41 bare_number");
}

TEST_CASE("a text that is no TOML is told with its line and nothing else") {
  const auto read = read_config("[shop]\nname = \"x\n", "tallystick.toml");
  REQUIRE(read.faults.size() == 1);
  CHECK(read.faults[0].code == "not_toml");
  CHECK(read.faults[0].line == 2);
  CHECK(text(read.faults[0]).starts_with("tallystick.toml:2: "));
}

namespace {

ReadConfig with_port(const std::string& lines) {
  return read_config(config_text + "[[port]]\nid = \"far\"\ndialect = \"push-line\"\n" + lines,
                     "tallystick.toml");
}

/// The one fault about the port; "" where there is none.
std::string port_fault(const std::string& lines) {
  std::string out;
  for (const auto& fault : with_port(lines).faults)
    if (fault.place.find("port far") == 0) {
      out += fault.code + "|" + fault.place + "|" + fault.remedy;
      CHECK(fault.line > 0);
    }
  return out;
}

}  // namespace

TEST_CASE("a port over TCP is read whole, with defaults or its own keep-alive") {
  const auto read = with_port("driver = \"tcp\"\naddress = \"192.0.2.7:4001\"\nkeep_alive_idle_s = 30\n");
  REQUIRE(read.config.ports.size() == 2);
  CHECK(read.config.ports[0].driver == "serial");
  const auto& port = read.config.ports[1];
  CHECK(port.driver == "tcp");
  CHECK(port.key() == "192.0.2.7:4001");
  CHECK(port.path.empty());
  CHECK(port.tcp == TcpCard{"192.0.2.7", 4001, 5, 30, 5, 3});
}

TEST_CASE("an address is taken apart as RFC 3986 writes an authority") {
  struct Case {
    const char* address;
    const char* host;
    int port;
  };
  // 192.0.2.0/24: RFC 5737; 2001:db8::/32: RFC 3849.
  for (const auto& one :
       {Case{"192.0.2.7:4001", "192.0.2.7", 4001}, Case{"[2001:db8::7]:1", "2001:db8::7", 1},
        Case{"bench-server.example:65535", "bench-server.example", 65535},
        Case{"server_1:4001", "server_1", 4001}}) {
    TcpCard card;
    CAPTURE(one.address);
    REQUIRE(split_address(one.address, card).has_value());
    CHECK(card.host == one.host);
    CHECK(card.port == one.port);
  }
  for (const auto* wrong :
       {"", ":4001", "192.0.2.7", "192.0.2.7:", "192.0.2.7:0", "192.0.2.7:65536", "192.0.2.7:4001x",
        "2001:db8::7:4001", "[2001:db8::7]", "somebody@192.0.2.7:4001", "192.0.2:4001", "192.0.2.777:4001",
        "a b:4001", "tcp://192.0.2.7:4001", "192.0.2.7:4001/x", "a%20b:4001"}) {
    TcpCard card;
    CAPTURE(wrong);
    const auto done = split_address(wrong, card);
    REQUIRE_FALSE(done.has_value());
    CHECK(done.error().code == "not_an_address");
    CHECK_FALSE(done.error().hint.empty());
  }
}

TEST_CASE("what a port over TCP has wrong is told at its key, with the remedy") {
  const std::string tcp = "driver = \"tcp\"\n", address = "address = \"192.0.2.7:4001\"\n";
  CHECK(port_fault(tcp + address).empty());
  CHECK(port_fault(tcp).find("missing_key|") == 0);
  CHECK(
      port_fault(tcp + "address = \"192.0.2.7\"\n").find("not_an_address|port far, address|add the device") ==
      0);
  CHECK(port_fault(tcp + address + "path = \"/dev/ttyUSB0\"\n").find("contradiction|port far, path|") == 0);
  CHECK(port_fault(address).find("contradiction|port far, address|write driver") == 0);
  CHECK(port_fault("path = \"x\"\nkeep_alive_count = 3\n").find("unknown_key|") == 0);
  CHECK(port_fault(tcp + address + "keep_alive_count = 0\n").find("keep_alive_count") != std::string::npos);
  CHECK(port_fault(tcp + address + "connect_timeout_s = 600\n").find("connect_timeout_s") !=
        std::string::npos);
  CHECK(port_fault("driver = \"radio\"\npath = \"x\"\n").find("port far, driver|") != std::string::npos);
  bool doubled = false;
  for (const auto& fault :
       with_port(tcp + address + "[[port]]\nid = \"far-2\"\ndialect = \"x\"\n" + tcp + address).faults)
    doubled = doubled || (fault.code == "double_path" && fault.place == "port far-2, address");
  CHECK(doubled);
}

TEST_CASE("a line on USB is named in exactly one way, by serial number, socket, or vendor and product") {
  struct Named {
    const char* lines;
    UsbCard usb;
    const char* key;
  };
  for (const auto& one : {Named{"usb_serial = \"A1\"\n", {"A1", "", "", -1}, "usb_serial A1"},
                          Named{"usb_port = \"1-1.2\"\n", {"", "1-1.2", "", -1}, "usb_port 1-1.2"},
                          Named{"usb_id = \"0403:60AB\"\n", {"", "", "0403:60ab", -1}, "usb_id 0403:60ab"},
                          Named{"usb_serial = \"A1\"\nusb_interface = 1\n", {"A1", "", "", 1}, "usb_serial A1, interface 1"}}) {
    const auto read = with_port(one.lines);
    CHECK(port_fault(one.lines).empty());
    REQUIRE(read.config.ports.size() == 2);
    CHECK(read.config.ports[1].usb == one.usb);
    CHECK(read.config.ports[1].key() == one.key);
    CHECK(read.config.ports[1].path.empty());
  }
}

TEST_CASE("what a key on USB has wrong is told at the key, with the remedy") {
  CHECK(port_fault("usb_serial = \"A1\"\npath = \"x\"\n") == "contradiction|port far, usb_serial|keep one of them");
  CHECK(port_fault("usb_port = \"1-1\"\nusb_id = \"0403:6001\"\n") == "contradiction|port far, usb_id|keep one of them");
  CHECK(port_fault("").find("missing_key|port far|add usb_serial, usb_port, usb_id or path") == 0);
  CHECK(port_fault("usb_serial = \"\"\n").find("empty|port far, usb_serial|") == 0);
  CHECK(port_fault("path = \"x\"\nusb_interface = 1\n").find("contradiction|port far, usb_interface|") == 0);
  for (const auto* wrong : {"1", "1-", "-1", "1-1.", "1-1..2", "1-.1", "usb1-1", "1-1:1.0"})
    CHECK_MESSAGE(port_fault("usb_port = \"" + std::string(wrong) + "\"\n").find("not_a_usb_port|port far, usb_port|") == 0, wrong);
  for (const auto* right : {"1-1", "2-10.4.3", "12-1"})
    CHECK_MESSAGE(port_fault("usb_port = \"" + std::string(right) + "\"\n").empty(), right);
  for (const auto* wrong : {"0403", "0403-6001", "403:6001", "0403:600g", "0403:60011", ":"})
    CHECK_MESSAGE(port_fault("usb_id = \"" + std::string(wrong) + "\"\n").find("not_a_usb_id|port far, usb_id|") == 0, wrong);
  CHECK(port_fault("driver = \"tcp\"\naddress = \"192.0.2.7:4001\"\nusb_serial = \"A1\"\n").find("unknown_key|") == 0);
  bool doubled = false;
  for (const auto& fault : with_port("usb_serial = \"A1\"\n[[port]]\nid = \"far-2\"\ndialect = \"x\"\nusb_serial = \"A1\"\n").faults)
    doubled = doubled || (fault.code == "double_path" && fault.place == "port far-2, usb_serial");
  CHECK(doubled);
}

TEST_CASE("a port of registers has a path or an address, as its driver wants") {
  const std::string address = "address = \"192.0.2.7:502\"\n", path = "path = \"conditioner\"\n";
  CHECK(port_fault("driver = \"modbus-rtu\"\n" + path).empty());
  CHECK(port_fault("driver = \"modbus-tcp\"\n" + address).empty());
  CHECK(with_port("driver = \"modbus-tcp\"\n" + address).config.ports[1].key() == "192.0.2.7:502");
  CHECK(port_fault("driver = \"modbus-rtu\"\n" + address).find("contradiction|port far, address|") == 0);
  CHECK(port_fault("driver = \"modbus-tcp\"\n" + path + address).find("contradiction|port far, path|") == 0);
  CHECK(port_fault("driver = \"modbus\"\n" + path).find("port far, driver|") != std::string::npos);
}

TEST_CASE("a port of files is read whole, with defaults by its mode") {
  const std::string folder = "driver = \"folder\"\npath = \"in\"\n";
  CHECK(with_port(folder).config.ports[1].folder == FolderCard{});
  const auto read = with_port(folder + "mode = \"whole\"\nfiles = \"m-*.txt\"\nencoding = \"utf-16\"\nsame_again = true\n");
  CHECK(read.config.ports[1].folder == FolderCard{"m-*.txt", "whole", "utf-16", 500, true, 2});
  CHECK(port_fault(folder + "mode = \"all\"\n").find("port far, mode|") != std::string::npos);
  CHECK(port_fault(folder + "files = \"a/b\"\n").find("wrong_value|port far, files|") == 0);
  CHECK(port_fault(folder + "encoding = \"ascii\"\n").find("port far, encoding|") != std::string::npos);
  CHECK(port_fault(folder + "settle_ms = -1\n").find("port far, settle_ms|") != std::string::npos);
  CHECK(port_fault(folder + "same_again = true\n").find("contradiction|port far, same_again|") == 0);
  CHECK(port_fault("path = \"x\"\nfiles = \"*\"\n").find("unknown_key|") == 0);
}
