// tallystick.toml -> ShopConfig, with every fault.
#include <algorithm>
#include <chrono>
#include <map>
#include <set>

#include "daemon/checklist/toml_reader.hpp"
#include "daemon/shop/shop_config.hpp"
#include "daemon/shop/usb_card.hpp"

namespace tallystick::shop {
namespace {

using checklist::TomlTable;
using checklist::TomlText;

/// "2027-06-30", and such a day exists.
bool is_date(const std::string& text) {
  if (text.size() != 10 || text[4] != '-' || text[7] != '-') return false;
  for (std::size_t i = 0; i < text.size(); ++i)
    if (i != 4 && i != 7 && (text[i] < '0' || text[i] > '9')) return false;
  const std::chrono::year_month_day day{
      std::chrono::year(std::stoi(text.substr(0, 4))),
      std::chrono::month(static_cast<unsigned>(std::stoi(text.substr(5, 2)))),
      std::chrono::day(static_cast<unsigned>(std::stoi(text.substr(8, 2))))};
  return day.ok();
}

class ConfigReader {
 public:
  explicit ConfigReader(const TomlText& text) : text_(text) {}

  void read(ReadConfig& out) {
    if (text_.root() == nullptr) return;
    TomlTable root(text_, *text_.root(), "");
    auto& config = out.config;
    read_shop(root, config);
    read_daemon(root, config);
    for (const auto* table : root.tables("bench")) read_bench(*table, config);
    for (const auto* table : root.tables("master")) read_master(*table, config);
    for (const auto* table : root.tables("tool")) read_tool(*table, config);
    for (const auto* table : root.tables("person")) read_person(*table, config);
    for (const auto* table : root.tables("port")) read_port(*table, out);
    for (const auto* table : root.tables("gauge")) read_gauge(*table, out);
    read_run_changes(root, config);
    read_reasons(root, config);
    hold_keyboards(out);
    if (config.benches.empty())
      root.fault("", "missing_key", "there is no bench", "add [[bench]] with id = \"bench-1\"");
    config.dialect_folders = root.texts("dialect_folders");
    config.families = root.texts("families");
    out.family_lines.assign(config.families.size(), root.line("families"));
    root.done();
  }

 private:
  /// True where the id is new; else a fault.
  bool fresh(TomlTable& table, const std::string& id, const char* kind) {
    if (id.empty()) return false;
    const auto [first, is_new] = ids_.emplace(std::string(kind) + " " + id, table.line());
    if (!is_new)
      table.fault(
          "id", "double_id",
          std::string(kind) + " \"" + id + "\" stands in line " + std::to_string(first->second) + " already",
          "ids name one thing for ever");
    return is_new;
  }
  std::vector<std::string> known(const char* kind) const {
    std::vector<std::string> out;
    const std::string prefix = std::string(kind) + " ";
    for (const auto& [name, line] : ids_)
      if (name.starts_with(prefix)) out.push_back(name.substr(prefix.size()));
    return out;
  }
  void must_exist(TomlTable& table, std::string_view key, const std::string& id, const char* kind) const {
    if (id.empty() || ids_.contains(std::string(kind) + " " + id)) return;
    table.fault(key, std::string("unknown_") + kind,
                "there is no [[" + std::string(kind) + "]] \"" + id + "\"",
                checklist::did_you_mean(id, known(kind)));
  }
  void date(TomlTable& table, std::string_view key, std::string& out) {
    out = table.text(key);
    if (!out.empty() && !is_date(out))
      table.fault(key, "bad_date", "\"" + out + "\" is no day", "write it as \"2027-06-30\"");
  }
  std::string unit(TomlTable& table, std::string_view key) {
    auto name = table.needed_text(key);
    if (name.empty()) return name;
    if (const auto known_unit = Unit::named(name); !known_unit) {
      table.fault(key, known_unit.error().code, known_unit.error().what, known_unit.error().hint);
      return {};
    }
    return name;
  }
  /// Exact decimal text that the unit holds; nothing (and a fault) else.
  std::optional<Quantity> value(TomlTable& table, std::string_view key, const std::string& unit_name,
                                std::string& out) {
    out = table.quoted(key);
    const auto of = Unit::named(unit_name);
    if (out.empty() || !of) return {};
    const auto quantity = Quantity::parse(out, *of);
    if (quantity) return *quantity;
    table.fault(key, quantity.error().code, quantity.error().what, quantity.error().hint);
    return {};
  }

  void read_shop(TomlTable& root, ShopConfig& config) {
    const auto* from = root.table("shop");
    if (from == nullptr) return;
    TomlTable table(text_, *from, "shop");
    config.name = table.text("name");
    config.decimal_mark = table.word("decimal_mark", {".", ","}, ".");
    config.theme = table.word("theme", {"system", "light", "dark"}, "system");
    config.language = table.word("language", {"en", "de", "es"}, "en");
    table.done();
  }

  void read_daemon(TomlTable& root, ShopConfig& config) {
    const auto* from = root.table("daemon");
    if (from == nullptr) return;
    TomlTable table(text_, *from, "daemon");
    auto& out = config.daemon;
    out.address = table.text("address", out.address);
    if (out.address != "127.0.0.1" && out.address != "::1" && out.address != "localhost")
      table.fault("address", "not_loopback",
                  "\"" + out.address + "\" can be reached from other machines, and people cannot sign in yet",
                  "use address = \"127.0.0.1\"");
    out.port = table.whole("port", 0, 65535, out.port);
    out.data = table.text("data", out.data);
    out.port_folder = table.text("port_folder");
    out.clock = table.word("clock", {"network", "own"}, "network");
    out.unsynchronised_minutes = table.number("unsynchronised_minutes", 0, 1e6, out.unsynchronised_minutes);
    out.ask_clock_days = table.number("ask_clock_days", 1, 3660, out.ask_clock_days);
    table.done();
  }

  void read_bench(const toml::table& from, ShopConfig& config) {
    TomlTable table(text_, from, "bench");
    Bench bench{table.id("id"), ""};
    table.rename("bench " + bench.id);
    bench.name = table.text("name", bench.id);
    if (fresh(table, bench.id, "bench")) config.benches.push_back(std::move(bench));
    table.done();
  }

  void read_master(const toml::table& from, ShopConfig& config) {
    TomlTable table(text_, from, "master");
    Master master;
    master.id = table.id("id");
    table.rename("master " + master.id);
    master.name = table.text("name", master.id);
    master.kind = table.text("kind");
    master.unit = unit(table, "unit");
    if (!table.has("size"))
      table.fault("", "missing_key", "\"size\" is missing", "add the certified size: size = \"25.002\"");
    const bool sized = value(table, "size", master.unit, master.size).has_value();
    static_cast<void>(value(table, "deviation", master.unit, master.deviation));
    const auto uncertainty = value(table, "uncertainty", master.unit, master.uncertainty);
    if (uncertainty && uncertainty->count() < 0)
      table.fault("uncertainty", "out_of_range", "an uncertainty below zero",
                  "write the expanded uncertainty of its certificate: \"0.0006\"");
    date(table, "calibrated", master.calibrated);
    date(table, "calibration_due", master.calibration_due);
    if (!master.calibrated.empty() && !master.calibration_due.empty() && master.calibration_due < master.calibrated)
      table.fault("calibration_due", "contradiction", "it is due before it was calibrated", "look at both days");
    if (fresh(table, master.id, "master") && sized) config.masters.push_back(std::move(master));
    table.done();
  }

  void read_tool(const toml::table& from, ShopConfig& config) {
    TomlTable table(text_, from, "tool");
    Tool tool;
    tool.id = table.id("id");
    table.rename("tool " + tool.id);
    tool.name = table.text("name", tool.id);
    tool.kind = table.needed_text("kind");
    date(table, "calibration_due", tool.calibration_due);
    if (fresh(table, tool.id, "tool")) config.tools.push_back(std::move(tool));
    table.done();
  }

  void read_person(const toml::table& from, ShopConfig& config) {
    TomlTable table(text_, from, "person");
    Person person;
    person.name = table.needed_text("name");
    table.rename("person " + person.name);
    person.role = table.word("role", {"inspector", "lead", "machinist", "it"}, "inspector");
    if (!people_.insert(person.name).second)
      table.fault("name", "double_id", "\"" + person.name + "\" stands here twice",
                  "names are told apart by their text");
    else if (!person.name.empty())
      config.people.push_back(std::move(person));
    table.done();
  }

  void read_port(const toml::table& from, ReadConfig& out) {
    TomlTable table(text_, from, "port");
    PortCard port;
    port.id = table.id("id");
    table.rename("port " + port.id);
    port.driver = table.word("driver", {"serial", "tcp", "keyboard", "folder", "modbus-rtu", "modbus-tcp"}, "serial");
    const bool tcp = port.over_network();
    if (port.driver == "keyboard")
      read_keys(table, port);
    else if (port.driver == "folder")
      read_folder(table, port);
    else if (tcp)
      read_address(table, port);
    else
      read_path(table, port);
    port.dialect = port.keyboard.actions.empty() ? table.needed_text("dialect") : table.text("dialect");
    if (const auto [first, is_new] = paths_.emplace(port.key(), port.id); !is_new && !port.key().empty())
      table.fault(key_word(port), "double_path",
                  "port \"" + first->second + "\" has this " + std::string(key_word(port)) + " already",
                  "one [[port]] for each; gauges that share it stand by channel");
    if (fresh(table, port.id, "port")) {
      dialect_of_[port.id] = port.dialect;
      out.config.ports.push_back(std::move(port));
      out.port_lines.push_back(table.line());
    }
    table.done();
  }

  /// The key of a [[port]] that tells it from the others.
  static std::string_view key_word(const PortCard& port) {
    return port.driver == "tcp"       ? "address"
           : !port.usb.serial.empty() ? "usb_serial"
           : !port.usb.port.empty()   ? "usb_port"
           : !port.usb.id.empty()     ? "usb_id"
                                      : "path";
  }

  void read_path(TomlTable& table, PortCard& port) {
    port.path = table.text("path");
    if (table.has("address"))
      table.fault("address", "contradiction", "an address, but its driver is " + port.driver,
                  "write driver = \"tcp\" or \"modbus-tcp\" beside it, or take it out");
    static_cast<void>(table.text("address"));
    port.usb = read_usb(table);
    std::vector<const char*> keys;
    for (const char* key : {"path", "usb_serial", "usb_port", "usb_id"})
      if (table.has(key)) keys.push_back(key);
    if (keys.size() > 1)
      table.fault(keys[1], "contradiction",
                  std::string("both ") + keys[0] + " and " + keys[1] + " name the line", "keep one of them");
    if (keys.empty() && !table.has("address"))
      table.fault("", "missing_key", "nothing names the line",
                  "add usb_serial, usb_port, usb_id or path; `tallystick doctor` lists what is plugged in");
    if (keys.size() == 1 && port.key().empty()) static_cast<void>(table.needed_text(keys[0]));
    if (table.has("usb_interface") && table.has("path"))
      table.fault("usb_interface", "contradiction", "a path names one line already", "take it out");
  }

  void read_keys(TomlTable& table, PortCard& port) {
    port.path = table.text("path");
    port.keyboard = read_keyboard(text_, table);
    if (!port.keyboard.bench.empty()) must_exist(table, "bench", port.keyboard.bench, "bench");
    for (const auto& action : port.keyboard.actions)
      if (!action.gauge.empty() || !action.reason.empty())
        of_keys_.push_back({table.line("action"), port.id, action});
    if (!port.keyboard.actions.empty()) keyboards_[port.id] = {port.keyboard, table.line()};
  }

  void hold_reason(const Reasons& reasons, int line, const std::string& port, const KeyActionCard& action) const {
    const auto& list = action.does == "again" ? reasons.retake : reasons.pass_over;
    if (action.reason.empty() || std::find(list.begin(), list.end(), action.reason) != list.end()) return;
    text_.add(checklist::Severity::fault, line, "port " + port + ", action", "unknown_reason",
              "\"" + action.reason + "\" is not in the shop's list of reasons",
              std::string("add it to [reasons], ") + (action.does == "again" ? "retake" : "pass_over"));
  }

  /// What can be told of keyboard ports only once the gauges are known.
  void hold_keyboards(ReadConfig& out) {
    const auto& gauges = out.config.gauges;
    for (const auto& [line, port, action] : of_keys_) {
      hold_reason(out.config.reasons, line, port, action);
      const auto& gauge = action.gauge;
      if (gauge.empty()) continue;
      const auto card = std::find_if(gauges.begin(), gauges.end(), [&](const auto& one) { return one.id == gauge; });
      if (card == gauges.end())
        text_.add(checklist::Severity::fault, line, "port " + port + ", action", "unknown_gauge",
                  "there is no sound gauge \"" + gauge + "\" to ask", "name a gauge of this file");
      else if (card->speaks != "asked")
        text_.add(checklist::Severity::fault, line, "port " + port + ", action", "contradiction",
                  "gauge \"" + gauge + "\" speaks by itself and cannot be asked",
                  "name a gauge with speaks = \"asked\"");
    }
    for (const auto& gauge : gauges) {
      const auto found = keyboards_.find(gauge.port);
      if (found == keyboards_.end()) continue;
      const auto& [card, line] = found->second;
      const auto add = [&, at = line](const std::string& code, const std::string& what, const std::string& remedy) {
        text_.add(checklist::Severity::fault, at, "port " + gauge.port, code, what, remedy);
      };
      if (gauge.dialect.empty())
        add("missing_key", "gauge \"" + gauge.id + "\" types here, and the port has no dialect", "add dialect = \"...\"");
      if (const auto key = key_taken_from_texts(card); !key.empty())
        add("contradiction", "key \"" + key + "\" acts, and gauge \"" + gauge.id + "\" types it in its values",
            "let a key act that no value has, as \"f13\"");
    }
  }

  void read_folder(TomlTable& table, PortCard& port) {
    port.path = table.needed_text("path");
    FolderCard& folder = port.folder;
    folder.files = table.text("files", folder.files);
    if (folder.files.empty() || folder.files.find('/') != std::string::npos)
      table.fault("files", "wrong_value", "\"" + folder.files + "\" is no pattern of file names",
                  "write it as \"*.csv\"; the folder itself stands in path");
    folder.mode = table.word("mode", {"lines", "whole"}, "lines");
    const bool whole = folder.mode == "whole";
    folder.encoding = table.word("encoding", {"utf-8", "latin-1", "utf-16"}, "utf-8");
    folder.settle_ms = table.whole("settle_ms", 0, 600000, whole ? 500 : 0);
    folder.same_again = table.yes_or_no("same_again", false);
    if (folder.same_again && !whole)
      table.fault("same_again", "contradiction", "each appended line is a measurement of its own anyway",
                  "take it out, or write mode = \"whole\"");
    folder.look_every_s = table.number("look_every_s", 0.1, 3600, folder.look_every_s);
  }

  void read_address(TomlTable& table, PortCard& port) {
    if (table.has("path"))
      table.fault("path", "contradiction", "a path, but its driver is " + port.driver,
                  "write address = \"HOST:PORT\" instead, or another driver");
    static_cast<void>(table.text("path"));
    port.address = table.needed_text("address");
    if (!port.address.empty())
      if (const auto done = split_address(port.address, port.tcp); !done)
        table.fault("address", done.error().code, done.error().what, done.error().hint);
    auto& tcp = port.tcp;
    tcp.connect_timeout_s = table.number("connect_timeout_s", 0.1, 60, tcp.connect_timeout_s);
    tcp.keep_alive_idle_s = table.whole("keep_alive_idle_s", 1, 7200, tcp.keep_alive_idle_s);
    tcp.keep_alive_interval_s = table.whole("keep_alive_interval_s", 1, 600, tcp.keep_alive_interval_s);
    tcp.keep_alive_count = table.whole("keep_alive_count", 1, 20, tcp.keep_alive_count);
  }

  void read_gauge(const toml::table& from, ReadConfig& out) {
    const auto before = count_faults();
    TomlTable table(text_, from, "gauge");
    GaugeCard gauge;
    gauge.id = table.id("id");
    table.rename("gauge " + gauge.id);
    gauge.name = table.text("name", gauge.id);
    gauge.kind = table.id("kind");
    gauge.bench = table.needed_text("bench");
    must_exist(table, "bench", gauge.bench, "bench");
    read_line_of(table, gauge);
    read_range(table, gauge);
    read_units(table, gauge);
    gauge.reads = table.word("reads", {"size", "difference"}, "size");
    gauge.speaks = table.word("speaks", {"pushed", "asked", "streams"}, "pushed");
    read_setting(table, out.config, gauge);
    gauge.may_be_used = table.yes_or_no("may_be_used", true);
    gauge.why_not = table.text("why_not");
    if (!gauge.may_be_used && gauge.why_not.empty())
      table.fault("may_be_used", "missing_key", "nothing says why it may not be used",
                  "add why_not = \"...\"");
    gauge.look_time_s = table.number("look_time_s", 0, 60, gauge.look_time_s);
    gauge.look_time_after_reject_s =
        table.number("look_time_after_reject_s", 0, 60, gauge.look_time_after_reject_s);
    gauge.repeat_window_s = table.number("repeat_window_s", 0, 60, gauge.repeat_window_s);
    table.done();
    if (!fresh(table, gauge.id, "gauge") || count_faults() != before) return;
    out.config.gauges.push_back(std::move(gauge));
    out.gauge_lines.push_back(table.line());
  }
  std::size_t count_faults() const { return text_.count(); }

  /// Port, channel and, from the port, the dialect.
  void read_line_of(TomlTable& table, GaugeCard& gauge) {
    gauge.port = table.needed_text("port");
    must_exist(table, "port", gauge.port, "port");
    gauge.channel = table.text("channel");
    if (const auto found = dialect_of_.find(gauge.port); found != dialect_of_.end())
      gauge.dialect = found->second;
    if (gauge.port.empty()) return;
    auto& channels = channels_[gauge.port];
    if (channels.contains(gauge.channel) ||
        (!channels.empty() && (gauge.channel.empty() || channels.contains(""))))
      table.fault("channel", "double_channel",
                  "gauge \"" + channels.begin()->second + "\" speaks on port " + gauge.port +
                      " already, and nothing tells them apart",
                  "give each gauge of the port its own channel");
    channels.emplace(gauge.channel, gauge.id);
  }

  void read_range(TomlTable& table, GaugeCard& gauge) {
    gauge.unit = unit(table, "unit");
    const auto lower = value(table, "range_lower", gauge.unit, gauge.range_lower);
    const auto upper = value(table, "range_upper", gauge.unit, gauge.range_upper);
    for (const auto* key : {"range_lower", "range_upper", "resolution"})
      if (!table.has(key))
        table.fault("", "missing_key", "\"" + std::string(key) + "\" is missing",
                    "add " + std::string(key) + " = \"...\", as a text");
    if (lower && upper && *upper <= *lower)
      table.fault("range_upper", "limits_crossed", "the range ends where it begins, or before",
                  "range_upper lies above range_lower");
    const auto step = value(table, "resolution", gauge.unit, gauge.resolution);
    if (step && step->count() <= 0)
      table.fault("resolution", "out_of_range", "a step of " + gauge.resolution,
                  "write the least step that it shows, as \"0.001\"");
  }

  void read_units(TomlTable& table, GaugeCard& gauge) {
    gauge.also_units = table.texts("also_units");
    gauge.unit_fixed = table.yes_or_no("unit_fixed", false);
    const auto card_unit = Unit::named(gauge.unit);
    for (const auto& name : gauge.also_units) {
      const auto other = Unit::named(name);
      if (!other)
        table.fault("also_units", other.error().code, other.error().what, other.error().hint);
      else if (card_unit && !convertible(*other, *card_unit))
        table.fault("also_units", "wrong_unit", name + " does not measure what " + gauge.unit + " does",
                    "take it out");
    }
    if (gauge.unit_fixed && !gauge.also_units.empty())
      table.fault("unit_fixed", "contradiction", "its unit is fixed, and it has others",
                  "keep one of unit_fixed and also_units");
  }

  void read_setting(TomlTable& gauge_table, const ShopConfig& config, GaugeCard& gauge) {
    const auto* from = gauge_table.table("setting");
    if (from == nullptr) {
      if (gauge.reads == "difference")
        gauge_table.fault("reads", "no_master", "it reads differences, and nothing says from which master",
                          "add [gauge.setting] with master and limit");
      return;
    }
    TomlTable table(text_, *from, "gauge " + gauge.id + ", setting");
    auto& rule = gauge.setting;
    rule.master = table.needed_text("master");
    must_exist(table, "master", rule.master, "master");
    read_point(table, config, gauge, {"master", "limit", rule.master, rule.size, rule.limit, rule.uncertainty, rule.due});
    rule.master_2 = table.text("second_master");
    if (!rule.master_2.empty()) {
      must_exist(table, "second_master", rule.master_2, "master");
      read_point(table, config, gauge,
                 {"second_master", "second_limit", rule.master_2, rule.size_2, rule.limit_2, rule.uncertainty_2, rule.due_2});
    }
    read_gain(table, gauge);
    rule.hours = table.number("hours", 0, 1e5, 0);
    rule.parts = table.whole("parts", 0, 1000000, 0);
    rule.grace_minutes = table.number("grace_minutes", 0, 1440, rule.grace_minutes);
    if (table.has("void_on")) {
      static const std::vector<std::string> events = {"power", "person", "restart", "port"};
      rule.void_on = table.texts("void_on");
      for (const auto& event : rule.void_on)
        if (std::find(events.begin(), events.end(), event) == events.end())
          table.fault("void_on", "unknown_word", "\"" + event + "\" is not known here",
                      checklist::did_you_mean(event, events));
    }
    table.done();
  }

  /// One of the masters of a setting: the keys that say it, and where it goes.
  struct Point {
    const char *master_key, *limit_key;
    const std::string& master;
    std::string &size, &limit, &uncertainty, &due;
  };
  void read_point(TomlTable& table, const ShopConfig& config, const GaugeCard& gauge, const Point& point) {
    take_master(table, config, gauge, point);
    if (!table.has(point.limit_key))
      table.fault("", "missing_key", quoted(point.limit_key) + " is missing",
                  std::string("how far the reading on the master may lie off: ") + point.limit_key + " = \"0.002\"");
    const auto limit = value(table, point.limit_key, gauge.unit, point.limit);
    if (limit && limit->count() < 0)
      table.fault(point.limit_key, "out_of_range", "a limit below zero", "write an amount: 0.002");
    const auto of = Unit::named(gauge.unit);
    const auto uncertainty = of && !point.uncertainty.empty() ? Quantity::parse(point.uncertainty, *of) : fail("", "");
    if (limit && uncertainty && limit->count() <= uncertainty->count())
      table.fault(point.limit_key, "guard_too_wide",
                  "the uncertainty of master " + quoted(point.master) + " (" + point.uncertainty + ") leaves nothing of the limit " + point.limit,
                  "use a better master, or a limit that the gauge's work allows");
  }

  void read_gain(TomlTable& table, GaugeCard& gauge) {
    auto& rule = gauge.setting;
    rule.gain_limit = table.quoted("gain_limit");
    if (rule.master_2.empty()) {
      for (const char* key : {"second_limit", "gain_limit"})
        if (table.has(key))
          table.fault(key, "contradiction", "it belongs to a setting at two points, and there is one master",
                      "name second_master, or take it out");
      static_cast<void>(table.quoted("second_limit"));
      return;
    }
    if (!rule.gain_limit.empty())
      if (const auto limit = Quantity::parse(rule.gain_limit, *Unit::named("ratio")); !limit || limit->count() < 0)
        table.fault("gain_limit", "wrong_value", quoted(rule.gain_limit) + " is no amount",
                    "how far the gain may lie from 1, as a plain decimal: \"0.002\"");
    const auto of = Unit::named(gauge.unit);
    if (!of) return;
    const auto first = Quantity::parse(rule.size, *of), second = Quantity::parse(rule.size_2, *of);
    if (first && second && first->count() == second->count())
      table.fault("second_master", "contradiction", "both masters have one size, so they show no gain",
                  "use masters near both ends of what the gauge measures");
  }

  /// The master's own size (as marked, plus its calibrated deviation), its uncertainty and due day, in the gauge's unit.
  void take_master(TomlTable& table, const ShopConfig& config, const GaugeCard& gauge, const Point& point) {
    const auto master = std::find_if(config.masters.begin(), config.masters.end(),
                                     [&](const Master& one) { return one.id == point.master; });
    const auto card_unit = Unit::named(gauge.unit);
    if (master == config.masters.end() || !card_unit) return;
    const auto master_unit = Unit::named(master->unit);
    if (!master_unit) return;
    point.due = master->calibration_due;
    const auto marked = Quantity::parse(master->size, *master_unit);
    if (!marked) return;
    const auto deviation = master->deviation.empty() ? Expected<Quantity>(Quantity::of_count(0, *master_unit))
                                                     : Quantity::parse(master->deviation, *master_unit);
    const auto size = deviation ? add(*marked, *deviation) : deviation;
    if (!size) return;
    const auto in_gauge = [&](const Quantity& quantity, const std::string& written) -> std::string {
      // As it stands on its certificate ("25.000") where the units are the same.
      if (*master_unit == *card_unit && !written.empty()) return written;
      const auto text = quantity.text(*card_unit);
      if (text) return *text;
      table.fault(point.master_key, text.error().code,
                  "the master's " + quantity.text() + " " + master->unit + " cannot be written exactly in " + gauge.unit,
                  "use a master that is certified in the gauge's unit");
      return {};
    };
    point.size = in_gauge(*size, master->deviation.empty() ? master->size : "");
    if (!master->uncertainty.empty())
      if (const auto uncertainty = Quantity::parse(master->uncertainty, *master_unit))
        point.uncertainty = in_gauge(*uncertainty, master->uncertainty);
    const auto lower = Quantity::parse(gauge.range_lower, *card_unit),
               upper = Quantity::parse(gauge.range_upper, *card_unit);
    if (lower && upper && convertible(size->unit(), *card_unit) && (*size < *lower || *upper < *size))
      table.fault(point.master_key, "out_of_range",
                  "the master's " + size->text() + " " + master->unit + " lies outside the gauge's range " +
                      gauge.range_lower + " to " + gauge.range_upper,
                  "use a master within it");
  }

  void read_run_changes(TomlTable& root, ShopConfig& config) {
    // What rules of the shop hold unless the configuration says otherwise.
    config.run_changes = {{"wear_offset", "wear offset", "features_named"},
                          {"tool", "tool", "first_part_and_release"},
                          {"program", "program", "first_part_and_release"},
                          {"material", "material", "first_part"},
                          {"machinist", "machinist", "first_part"}};
    for (const auto* from : root.tables("run_change")) {
      TomlTable table(text_, *from, "run_change");
      RunChangeKind change;
      change.kind = table.needed_text("kind");
      table.rename("run_change " + change.kind);
      change.name = table.text("name", change.kind);
      change.then = table.word("then", {"nothing", "features_named", "first_part", "first_part_and_release"},
                               "nothing");
      if (!table.has("then"))
        table.fault("", "missing_key", "\"then\" is missing",
                    "say what follows: nothing, features_named, first_part or first_part_and_release");
      if (change.kind.empty()) continue;
      const auto same = std::find_if(config.run_changes.begin(), config.run_changes.end(),
                                     [&](const auto& one) { return one.kind == change.kind; });
      if (same != config.run_changes.end())
        *same = std::move(change);
      else
        config.run_changes.push_back(std::move(change));
      table.done();
    }
  }

  void read_reasons(TomlTable& root, ShopConfig& config) {
    const auto* from = root.table("reasons");
    if (from == nullptr) {
      root.fault(
          "", "missing_key", "there are no [reasons]",
          "add [reasons] with the lists retake, pass_over and publish: nobody types a reason at the bench");
      return;
    }
    TomlTable table(text_, *from, "reasons");
    config.reasons.retake = table.texts("retake");
    config.reasons.pass_over = table.texts("pass_over");
    config.reasons.publish = table.texts("publish");
    // A configuration from before these lists stays as good as it was.
    config.reasons.suspect = {"the gauge's error is too small to matter here", "measured on another gauge since",
                              "the gauge was proven good after all", "the part is at hand", "the customer decided"};
    config.reasons.disposition = {"can be machined again", "cannot be mended", "works as it is", "fault of the material",
                                  "the customer decided"};
    if (table.has("suspect")) config.reasons.suspect = table.texts("suspect");
    if (table.has("disposition")) config.reasons.disposition = table.texts("disposition");
    for (const auto& [key, list] :
         {std::pair{"retake", &config.reasons.retake}, std::pair{"pass_over", &config.reasons.pass_over},
          std::pair{"suspect", &config.reasons.suspect}, std::pair{"disposition", &config.reasons.disposition}})
      if (list->empty())
        table.fault(key, "empty", "the list is empty",
                    "without a reason nobody can take a value again, pass a step over, or decide about a part");
    table.done();
  }

  const TomlText& text_;
  std::map<std::string, int> ids_;
  std::map<std::string, std::string> dialect_of_, paths_;
  std::map<std::string, std::map<std::string, std::string>> channels_;
  std::set<std::string> people_;
  struct OfKeys {
    int line = 0;
    std::string port;
    KeyActionCard action;
  };
  std::vector<OfKeys> of_keys_;  ///< actions that speak of a gauge or a reason
  std::map<std::string, std::pair<KeyboardCard, int>> keyboards_;  ///< that act; by port, with its line
};

}  // namespace

ReadConfig read_config(std::string_view toml, std::string file_name) {
  ReadConfig out;
  const TomlText text(toml, std::move(file_name), out.faults);
  ConfigReader(text).read(out);
  checklist::sort_by_place(out.faults);
  return out;
}

}  // namespace tallystick::shop
