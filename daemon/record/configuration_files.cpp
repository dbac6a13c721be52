#include "daemon/record/configuration_files.hpp"

#include <algorithm>
#include <cerrno>
#include <cstdlib>
#include <cstring>
#include <fstream>
#include <iterator>

#include "daemon/shop/held_against.hpp"
#include "drivers/decode/fitting.hpp"
#include "drivers/decode/modbus_map.hpp"

namespace tallystick::record {
namespace {

using checklist::Fault;
using checklist::Severity;
namespace files = std::filesystem;

constexpr std::uintmax_t largest_file = 16U << 20U;

class Loader {
 public:
  Loader(Configuration& out, const files::path& folder, Parts parts) : out_(out), folder_(folder), parts_(parts) {}

  void load(shop::ReadConfig read) {
    out_.shop = std::move(read.config);
    out_.faults = std::move(read.faults);
    const auto file = out_.file.filename().string();
    if (parts_.dialects) {
      load_dialects(file);
      keep_ports_with_dialects(read, file);
    }
    for (std::size_t i = 0; i < out_.shop.families.size(); ++i)
      load_family(out_.shop.families[i], file, read.family_lines[i]);
    make_absolute();
    checklist::sort_by_place(out_.faults);
  }

 private:
  files::path at(const std::string& name) const { return (folder_ / name).lexically_normal(); }
  void add(const std::string& file, int line, std::string place, Error error) {
    out_.faults.push_back({Severity::fault, file, line, std::move(place), std::move(error.code),
                           std::move(error.what), std::move(error.hint)});
  }

  void load_dialects(const std::string& file) {
    for (const auto& name : out_.shop.dialect_folders) {
      std::error_code code;
      std::vector<files::path> found;
      for (files::directory_iterator entry(at(name), code), end; !code && entry != end; entry.increment(code))
        if (entry->path().filename().string().ends_with(".dialect.toml")) found.push_back(entry->path());
      if (code) {
        add(file, 0, "dialect_folders",
            {"cannot_read", "cannot read the folder " + at(name).string() + ": " + code.message(), "",
             "check its name"});
        continue;
      }
      std::sort(found.begin(), found.end());
      for (const auto& path : found) load_dialect(path);
    }
  }

  void load_dialect(const files::path& path) {
    const auto name = path.filename().string();
    const auto bytes = bytes_of_file(path);
    if (!bytes) return add(name, 0, "", bytes.error());
    auto dialect = read_dialect(*bytes, name);
    if (!dialect) {
      for (const auto& error : dialect.error()) {
        // "file:line" names the place; it becomes the fault's own file and line.
        const auto colon = error.where.rfind(':');
        const int line = colon == std::string::npos ? 0 : std::atoi(error.where.c_str() + colon + 1);
        add(name, line, "", error);
      }
      return;
    }
    const auto key = dialect->name;
    out_.dialect_digests.emplace(key, checklist::sha256_hex(*bytes));
    if (!out_.dialects.emplace(key, std::move(*dialect)).second)
      add(name, 1, "name",
          {"double_id", "there is a dialect \"" + key + "\" already", "", "give each its own name"});
  }

  /// A port whose dialect is unknown cannot be opened, so its gauges cannot speak.
  void keep_ports_with_dialects(const shop::ReadConfig& read, const std::string& file) {
    std::vector<std::string> known;
    for (const auto& [name, dialect] : out_.dialects) known.push_back(name);
    std::vector<shop::PortCard> ports;
    for (std::size_t i = 0; i < out_.shop.ports.size(); ++i) {
      auto& port = out_.shop.ports[i];
      const auto dialect = out_.dialects.find(port.dialect);
      if (dialect != out_.dialects.end()) {
        if (auto wrong = misfit(dialect->second, port.driver)) {
          add(file, read.port_lines[i], "port " + port.id + ", dialect", *std::move(wrong));
          continue;
        }
      }
      if (dialect != out_.dialects.end() && port.driver == "keyboard" && dialect->second.ask) {
        add(file, read.port_lines[i], "port " + port.id + ", dialect",
            {"contradiction",
             "its dialect " + port.dialect + " is for gauges that are asked, and a keyboard cannot be asked", "",
             "use a dialect with speaks = \"pushed\""});
        continue;
      }
      // Keys and texts that only act need none.
      const bool only_acts = port.driver == "keyboard" && port.dialect.empty() && !port.keyboard.actions.empty();
      if (dialect != out_.dialects.end() || only_acts) {
        ports.push_back(std::move(port));
        continue;
      }
      add(file, read.port_lines[i], "port " + port.id + ", dialect",
          {"unknown_dialect", "there is no sound dialect \"" + port.dialect + "\"", "",
           checklist::did_you_mean(port.dialect, known)});
    }
    out_.shop.ports = std::move(ports);
    hold_gauges(read, file);
  }

  void hold_gauges(const shop::ReadConfig& read, const std::string& file) {
    std::vector<shop::GaugeCard> gauges;
    for (std::size_t i = 0; i < out_.shop.gauges.size(); ++i) {
      auto& gauge = out_.shop.gauges[i];
      const auto dialect = out_.dialects.find(gauge.dialect);
      if (dialect == out_.dialects.end()) continue;  // told at the port
      const auto place = "gauge " + gauge.id;
      const auto line = read.gauge_lines[i];
      const auto before = out_.faults.size();
      if (name(dialect->second.speaks) != gauge.speaks)
        add(file, line, place + ", speaks",
            {"contradiction",
             "speaks = \"" + gauge.speaks + "\", but its dialect " + gauge.dialect +
                 " is for gauges that are " + std::string(name(dialect->second.speaks)),
             "", "write speaks as the dialect has it, or choose another dialect"});
      if (dialect->second.modbus) {
        hold_register(gauge, dialect->second, file, line);
        if (out_.faults.size() == before) gauges.push_back(std::move(gauge));
        continue;
      }
      if (gauge.channel.empty() && dialect->second.carries_channel)
        add(file, line, place + ", channel",
            {"missing_key",
             "its dialect " + gauge.dialect + " names a channel in every frame, and the gauge none", "",
             "add channel = \"...\""});
      if (!gauge.channel.empty() && !dialect->second.carries_channel)
        add(file, line, place + ", channel",
            {"contradiction",
             "channel \"" + gauge.channel + "\", but frames of its dialect " + gauge.dialect + " name none",
             "", "take the channel out, or choose another dialect"});
      if (!gauge.also_units.empty() && !dialect->second.unit_in_frame)
        add(file, line, place + ", also_units",
            {"contradiction",
             "it can be switched to " + gauge.also_units.front() + ", but frames of its dialect " +
                 gauge.dialect + " do not say to which unit it is set",
             "", "choose a dialect that sends the unit, or take also_units out"});
      const auto card_unit = Unit::named(gauge.unit);
      if (card_unit && !dialect->second.unit_in_frame && dialect->second.unit &&
          *dialect->second.unit != *card_unit)
        add(file, line, place + ", unit",
            {"wrong_unit",
             "the gauge shows " + gauge.unit + ", but its dialect " + gauge.dialect +
                 " takes every value for " + std::string(dialect->second.unit->name()),
             "", "choose the dialect that states " + gauge.unit});
      if (out_.faults.size() == before) gauges.push_back(std::move(gauge));
    }
    out_.shop.gauges = std::move(gauges);
  }

  /// A gauge that is read from a register: its channel names one, and no other gauge of the port the same.
  void hold_register(const shop::GaugeCard& gauge, const Dialect& dialect, const std::string& file, int line) {
    const auto unit = Unit::named(gauge.unit);
    const auto port = std::find_if(out_.shop.ports.begin(), out_.shop.ports.end(),
                                   [&](const auto& one) { return one.id == gauge.port; });
    if (!unit || port == out_.shop.ports.end()) return;
    const auto place = "gauge " + gauge.id;
    if (auto wrong = misfit_of_register(dialect, port->driver, gauge.channel, *unit))
      return add(file, line, place + (wrong->code == "wrong_unit" ? ", unit" : ", channel"), *std::move(wrong));
    const auto channel = modbus_channel(*dialect.modbus, *modbus_point(*dialect.modbus, gauge.channel));
    if (const auto [first, fresh] = registers_.emplace(gauge.port + " " + channel, gauge.id); !fresh)
      add(file, line, place + ", channel",
          {"double_channel", "gauge " + first->second + " reads register " + channel + " already", "",
           "give each gauge of the port its own register"});
    if (!gauge.also_units.empty())
      add(file, line, place + ", also_units",
          {"contradiction", "a register does not say to which unit the gauge is set", "", "take also_units out"});
  }

  void load_family(const std::string& name, const std::string& file, int line) {
    const auto path = at(name);
    const auto toml = bytes_of_file(path);
    if (!toml) return add(file, line, "families", toml.error());
    const auto beside = [&](const std::string& wanted) { return bytes_of_file(path.parent_path() / wanted); };
    auto family = checklist::read_family(*toml, path.filename().string(), beside, out_.faults);
    const auto same_key = std::any_of(out_.families.begin(), out_.families.end(),
                                      [&](const auto& one) { return one.key == family.key; });
    if (same_key && !family.key.empty())
      return add(
          family.file, 1, "family, key",
          {"double_id", "there is a family \"" + family.key + "\" already", "", "give each its own key"});
    if (!parts_.dialects) return keep_family(std::move(family));   // nothing to hold it against
    shop::UnitInFrame unit_in_frame;
    for (const auto& [key, dialect] : out_.dialects) unit_in_frame[key] = dialect.unit_in_frame;
    std::vector<std::string> tool_kinds;
    for (const auto& tool : out_.shop.tools) tool_kinds.push_back(tool.kind);
    const auto held = shop::hold_against(family, out_.shop.gauges, unit_in_frame, &tool_kinds);
    out_.faults.insert(out_.faults.end(), held.begin(), held.end());
    keep_family(std::move(family));
  }

  void keep_family(checklist::Family family) {
    if (!family.drawing.empty()) out_.drawings.emplace(checklist::sha256_hex(family.drawing), family.drawing);
    out_.families.push_back(std::move(family));
  }

  void make_absolute() {
    auto& settings = out_.shop.daemon;
    settings.data = at(settings.data).string();
    settings.port_folder =
        settings.port_folder.empty() ? folder_.string() : at(settings.port_folder).string();
    for (auto& port : out_.shop.ports)
      if (!port.path.empty())
        port.path = (files::path(settings.port_folder) / port.path).lexically_normal().string();
    for (auto& folder : out_.shop.dialect_folders) folder = at(folder).string();
    for (auto& family : out_.shop.families) family = at(family).string();
  }

  Configuration& out_;
  std::map<std::string, std::string> registers_;  ///< port and channel in full -> gauge
  const files::path folder_;
  const Parts parts_;
};

}  // namespace

Expected<std::string> bytes_of_file(const files::path& path) {
  std::error_code code;
  const auto cannot = [&](const std::string& why, const std::string& hint) {
    return fail("cannot_read", "cannot read " + path.string() + ": " + why, path.string(), hint);
  };
  if (!files::exists(path, code)) return cannot("there is no such file", "check its name and folder");
  if (!files::is_regular_file(path, code)) return cannot("it is no file", "name the file itself");
  if (files::file_size(path, code) > largest_file)
    return cannot("it is larger than 16 MiB", "this cannot be the file that was meant");
  std::ifstream stream(path, std::ios::binary);
  std::string bytes{std::istreambuf_iterator<char>(stream), std::istreambuf_iterator<char>()};
  if (!stream) return cannot(std::strerror(errno), "check who may read it");
  return bytes;
}

Expected<checklist::Family> load_family_file(const files::path& file, std::vector<Fault>& faults,
                                             const std::string* table) {
  const auto toml = bytes_of_file(file);
  if (!toml) return tl::unexpected(toml.error());
  const auto beside = [&](const std::string& wanted) -> Expected<std::string> {
    if (table != nullptr && wanted.ends_with(".csv")) return *table;
    return bytes_of_file(file.parent_path() / wanted);
  };
  return checklist::read_family(*toml, file.filename().string(), beside, faults);
}

std::vector<checklist::Edition> Configuration::editions() const {
  std::vector<checklist::Edition> out;
  for (const auto& family : families)
    for (const auto& size : family.sizes) out.push_back(size.edition);
  return out;
}

files::path configuration_file(const files::path& file) {
  std::error_code code;
  auto out = files::absolute(file, code).lexically_normal();
  if (files::is_directory(out, code) || out.extension() != ".toml") out /= "tallystick.toml";
  return out;
}

Expected<Configuration> load_configuration(const files::path& file, Parts parts) {
  Configuration out;
  std::error_code code;
  out.file = files::absolute(file, code).lexically_normal();
  if (files::is_directory(out.file, code)) out.file /= "tallystick.toml";
  const auto toml = bytes_of_file(out.file);
  if (!toml) return tl::unexpected(toml.error());
  auto read = shop::read_config(*toml, out.file.filename().string());
  Loader(out, out.file.parent_path(), parts).load(std::move(read));
  return out;
}

}  // namespace tallystick::record
