// What tallystick.toml says: the daemon's own settings, benches, ports, the register of gauges, masters,
// tools, the shop's lists. Pure: text in, struct and faults out. Nothing here opens a file.
#pragma once

#include <boost/describe.hpp>
#include <string>
#include <string_view>
#include <vector>

#include "daemon/checklist/fault.hpp"
#include "daemon/shop/gauge_card.hpp"
#include "daemon/shop/keyboard_card.hpp"

namespace tallystick::shop {

/// Paths stand as written; `record::load_configuration` turns relative ones into absolute.
struct DaemonSettings {
  std::string address = "127.0.0.1";  ///< loopback only, until people can sign in
  int port = 7411;                    ///< 0: any free one
  std::string data = "data";          ///< folder of the record; relative: from the configuration's folder
  std::string port_folder;        ///< where relative paths of ports begin; empty: the configuration's folder
  std::string clock = "network";  ///< "network" | "own"
  double unsynchronised_minutes = 60;  ///< `network`: longer without synchronisation is shown and flagged
  double ask_clock_days = 30;          ///< `own`: how often the page asks to hold the clock against a watch
  bool operator==(const DaemonSettings&) const = default;
};
BOOST_DESCRIBE_STRUCT(DaemonSettings, (),
                      (address, port, data, port_folder, clock, unsynchronised_minutes, ask_clock_days))

struct Bench {
  std::string id, name;  ///< "bench-1", "bench 1"
  bool operator==(const Bench&) const = default;
};
BOOST_DESCRIBE_STRUCT(Bench, (), (id, name))

/// Whom a port of driver "tcp" calls, and when it gives a silent far end up.
struct TcpCard {
  std::string host;  ///< of `address`: a name, or an address in numbers (IPv6 without brackets)
  int port = 0;      ///< of `address`
  double connect_timeout_s = 5;
  int keep_alive_idle_s = 15, keep_alive_interval_s = 5, keep_alive_count = 3;
  bool operator==(const TcpCard&) const = default;
};
BOOST_DESCRIBE_STRUCT(TcpCard, (),
                      (host, port, connect_timeout_s, keep_alive_idle_s, keep_alive_interval_s,
                       keep_alive_count))

/// What names a serial line on USB instead of a path: exactly one of the three texts, where any.
struct UsbCard {
  std::string serial;  ///< of the device: "A1"
  std::string port;    ///< its socket: "1-1.2"
  std::string id;      ///< vendor:product: "0403:6001", small letters
  int interface = -1;  ///< narrows it to one line of an adapter with several; -1: any
  bool operator==(const UsbCard&) const = default;
  bool stands() const { return !serial.empty() || !port.empty() || !id.empty(); }
  /// "usb_serial A1", as the ports room says it too; empty where none stands.
  std::string text() const;
};
BOOST_DESCRIBE_STRUCT(UsbCard, (), (serial, port, id, interface))

/// Of a port of driver "folder": which files of it, and how they are written.
struct FolderCard {
  std::string files = "*";      ///< pattern of their names, as the shell writes it
  std::string mode = "lines";   ///< "lines" (appended, each a measurement) | "whole" (each file one)
  std::string encoding = "utf-8";  ///< "utf-8" | "latin-1" | "utf-16", where a file has no byte order mark
  int settle_ms = 0;            ///< see FolderSettings
  bool same_again = false;
  double look_every_s = 2;
  bool operator==(const FolderCard&) const = default;
};
BOOST_DESCRIBE_STRUCT(FolderCard, (), (files, mode, encoding, settle_ms, same_again, look_every_s))

/// Where bytes come from. Its gauges are the cards whose `port` is its `id`.
struct PortCard {
  std::string id;                 ///< "receiver-1"
  std::string path;     ///< by-id or by-path link, a plain device, or a folder; empty where something else names it
  std::string dialect;  ///< its name; empty where a keyboard's keys and texts only act
  std::string driver = "serial";  ///< "serial" | "tcp" | "keyboard" | "folder" | "modbus-rtu" | "modbus-tcp"
  std::string address;            ///< of the two over TCP, as written: "192.0.2.7:4001"
  TcpCard tcp = {};
  KeyboardCard keyboard = {};
  FolderCard folder = {};
  UsbCard usb = {};  ///< of "serial", in place of a path
  bool operator==(const PortCard&) const = default;
  /// Path, address, device or what it is on USB: what tells it from all other ports.
  std::string key() const {
    return over_network()         ? address
           : driver == "keyboard" ? device_text(keyboard, path)
           : usb.stands()         ? usb.text()
                                  : path;
  }
  bool over_network() const { return driver == "tcp" || driver == "modbus-tcp"; }
};
BOOST_DESCRIBE_STRUCT(PortCard, (), (id, path, dialect, driver, address, tcp, keyboard, folder, usb))

/// "HOST:PORT": a name, an IPv4 address, or an IPv6 address in brackets, and a port of 1 to 65535 (the
/// authority of RFC 3986, without a user). Fills `host` and `port`. The error's what and hint fit a fault.
Done split_address(const std::string& address, TcpCard& out);

/// A master (setting ring, gauge block): what a gauge is checked against.
struct Master {
  std::string id, name, kind;   ///< "ring-25", "ring 25.002", "setting-ring"
  std::string size, unit;       ///< as marked or certified, exact decimal text
  std::string deviation;        ///< what calibration found it to differ from `size`, "-0.0004"; empty: 0
  std::string uncertainty;      ///< expanded, of that calibration, "0.0006"; empty: not stated
  std::string calibrated;       ///< "2026-06-30", empty: not stated
  std::string calibration_due;  ///< "2027-06-30": it may not be used after that day; empty: none
  bool operator==(const Master&) const = default;
};
BOOST_DESCRIBE_STRUCT(Master, (), (id, name, kind, size, unit, deviation, uncertainty, calibrated, calibration_due))

/// A plug or mating part, stated once a walk. `kind` is what a feature's `tool` names.
struct Tool {
  std::string id, name, kind;
  std::string calibration_due;  ///< "2027-06-30", empty: none
  bool operator==(const Tool&) const = default;
};
BOOST_DESCRIBE_STRUCT(Tool, (), (id, name, kind, calibration_due))

/// Named until people can sign in: offered as a choice, and what the journal then holds is a stated name.
struct Person {
  std::string name, role;  ///< role: "inspector" | "lead" | "machinist" | "it"
  bool operator==(const Person&) const = default;
};
BOOST_DESCRIBE_STRUCT(Person, (), (name, role))

/// What follows a run change of this kind.
struct RunChangeKind {
  std::string kind, name;        ///< "wear_offset", "wear offset"
  std::string then = "nothing";  ///< "nothing" | "features_named" | "first_part" | "first_part_and_release"
  bool operator==(const RunChangeKind&) const = default;
};
BOOST_DESCRIBE_STRUCT(RunChangeKind, (), (kind, name, then))

/// Reasons come from these lists, never typed at the bench.
struct Reasons {
  std::vector<std::string> retake, pass_over, publish;
  std::vector<std::string> suspect;      ///< of a decision about a suspect result
  std::vector<std::string> disposition;  ///< of what becomes of a rejected part
  bool operator==(const Reasons&) const = default;
};
BOOST_DESCRIBE_STRUCT(Reasons, (), (retake, pass_over, publish, suspect, disposition))

struct ShopConfig {
  std::string name;                ///< of the shop, for page heads
  std::string decimal_mark = ".";  ///< shown numbers only: "." | ","
  std::string theme = "system";    ///< "system" | "light" | "dark"
  std::string language = "en";
  DaemonSettings daemon;
  std::vector<Bench> benches;
  std::vector<PortCard> ports;
  std::vector<GaugeCard> gauges;  ///< `dialect` is the port's; `setting.size` is the master's, both filled in
  std::vector<Master> masters;
  std::vector<Tool> tools;
  std::vector<Person> people;
  std::vector<RunChangeKind> run_changes;
  Reasons reasons;
  std::vector<std::string> dialect_folders;  ///< as written; relative: from the configuration's folder
  std::vector<std::string> families;         ///< files "*.family.toml", as written
  bool operator==(const ShopConfig&) const = default;
};
BOOST_DESCRIBE_STRUCT(ShopConfig, (),
                      (name, decimal_mark, theme, language, daemon, benches, ports, gauges, masters, tools,
                       people, run_changes, reasons, dialect_folders, families))

/// A configuration as read, sound or not: what has a fault is left out of `config`, the rest stands.
struct ReadConfig {
  ShopConfig config;
  std::vector<checklist::Fault> faults;
  std::vector<int> gauge_lines, port_lines;  ///< parallel to `config.gauges` and `config.ports`
  std::vector<int> family_lines;             ///< parallel to `config.families`
};
ReadConfig read_config(std::string_view toml, std::string file_name);

}  // namespace tallystick::shop
