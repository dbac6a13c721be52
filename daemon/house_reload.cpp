#include "daemon/house_reload.hpp"

#include <algorithm>
#include <functional>

#include "daemon/house_parts.hpp"
#include "daemon/measure/json_mirror.hpp"
#include "daemon/serve/problem.hpp"

namespace tallystick {
namespace {

using checklist::Fault;
using checklist::Severity;

void needs_restart(std::vector<Fault>& faults, const std::string& file, const std::string& key,
                   const std::string& was, const std::string& is) {
  if (was == is) return;
  faults.push_back(
      {Severity::fault, file, 0, "daemon, " + key, "needs_restart",
       key + " was " + was + " and is now " + is + ": only a new start of the daemon can change it",
       "put it back and reload, or restart the daemon"});
}

void hold_daemon_settings(const shop::DaemonSettings& was, const shop::DaemonSettings& is,
                          const std::string& file, std::vector<Fault>& faults) {
  needs_restart(faults, file, "address", was.address, is.address);
  needs_restart(faults, file, "port", std::to_string(was.port), std::to_string(is.port));
  needs_restart(faults, file, "data", was.data, is.data);
  needs_restart(faults, file, "clock", was.clock, is.clock);
  needs_restart(faults, file, "unsynchronised_minutes", std::to_string(was.unsynchronised_minutes),
                std::to_string(is.unsynchronised_minutes));
}

/// Dialects whose text is the same stay the same objects.
void share_dialects(std::vector<ports::PortConfig>& ports, const std::vector<ports::PortConfig>& running,
                    const record::Configuration& old, const record::Configuration& now) {
  for (auto& port : ports) {
    const auto& name = port.dialect->name;
    const auto before = old.dialect_digests.find(name);
    const auto after = now.dialect_digests.find(name);
    if (before == old.dialect_digests.end() || after == now.dialect_digests.end() ||
        before->second != after->second)
      continue;
    // Each port has an object of its own: it keeps its own.
    const auto same = std::find_if(running.begin(), running.end(), [&](const auto& each) {
      return each.name == port.name && each.dialect->name == name;
    });
    if (same != running.end()) port.dialect = same->dialect;
  }
}

/// Tells what came, went and changed among things that have a name.
template <class Thing, class Name>
void tell_changes(const std::vector<Thing>& was, const std::vector<Thing>& is, const std::string& kind,
                  const std::string& how, Name name, std::function<bool(const Thing&, const Thing&)> same,
                  std::vector<std::string>& out) {
  const auto in = [&](const std::vector<Thing>& list, const Thing& one) {
    return std::find_if(list.begin(), list.end(), [&](const auto& each) { return name(each) == name(one); });
  };
  for (const auto& one : is) {
    const auto before = in(was, one);
    if (before == was.end())
      out.push_back(kind + " " + name(one) + ": added");
    else if (!same(*before, one))
      out.push_back(kind + " " + name(one) + ": " + how);
  }
  for (const auto& one : was)
    if (in(is, one) == is.end()) out.push_back(kind + " " + name(one) + ": taken out");
}

void tell_all_changes(const record::Configuration& old, const std::vector<ports::PortConfig>& running,
                      Reload& reload) {
  auto& out = reload.changed;
  const auto& was = old.shop;
  const auto& is = reload.configuration.shop;
  const auto id = [](const auto& thing) { return thing.id; };
  tell_changes<ports::PortConfig>(
      running, reload.ports, "port", "opened anew", [](const auto& port) { return port.name; },
      std::equal_to<>(), out);
  tell_changes<shop::GaugeCard>(was.gauges, is.gauges, "gauge", "changed", id, std::equal_to<>(), out);
  tell_changes<shop::Bench>(was.benches, is.benches, "bench", "changed", id, std::equal_to<>(), out);
  tell_changes<shop::Master>(was.masters, is.masters, "master", "changed", id, std::equal_to<>(), out);
  tell_changes<shop::Tool>(was.tools, is.tools, "tool", "changed", id, std::equal_to<>(), out);
  tell_changes<shop::Person>(
      was.people, is.people, "person", "changed", [](const auto& person) { return person.name; },
      std::equal_to<>(), out);
  tell_changes<checklist::Family>(
      old.families, reload.configuration.families, "family", "worked out anew (publish it to use it)",
      [](const auto& family) { return family.key; },
      [](const auto& a, const auto& b) {
        return std::equal(a.sizes.begin(), a.sizes.end(), b.sizes.begin(), b.sizes.end(),
                          [](const auto& x, const auto& y) {
                            return checklist::to_json_text(x.edition) == checklist::to_json_text(y.edition);
                          });
      },
      out);
  if (was.reasons != is.reasons || was.run_changes != is.run_changes)
    out.emplace_back("the shop's lists: changed");
  if (was.name != is.name || was.decimal_mark != is.decimal_mark || was.theme != is.theme ||
      was.language != is.language)
    out.emplace_back("the shop's settings: changed");
}

}  // namespace

Reload read_anew(const record::Configuration& old, const std::vector<ports::PortConfig>& running) {
  Reload reload;
  auto loaded = record::load_configuration(old.file);
  const auto file = old.file.filename().string();
  if (!loaded) {
    const auto& error = loaded.error();
    reload.faults.push_back({Severity::fault, file, 0, "", error.code, error.what, error.hint});
    return reload;
  }
  reload.configuration = std::move(*loaded);
  for (const auto& fault : reload.configuration.faults)
    if (fault.severity == Severity::fault) reload.faults.push_back(fault);
  // What a file that is no TOML leaves out has not changed: only its own fault is worth telling.
  const bool readable = std::none_of(reload.faults.begin(), reload.faults.end(),
                                     [](const Fault& fault) { return fault.code == "not_toml"; });
  if (readable) hold_daemon_settings(old.shop.daemon, reload.configuration.shop.daemon, file, reload.faults);
  reload.ports = ports_of(reload.configuration);
  share_dialects(reload.ports, running, old, reload.configuration);
  for (const auto& error : ports::faults_of(reload.ports))
    reload.faults.push_back({Severity::fault, file, 0, error.where, error.code, error.what, error.hint});
  if (reload.faults.empty()) tell_all_changes(old, running, reload);
  return reload;
}

std::string summary(const Reload& reload) {
  if (!reload.faults.empty())
    return "the configuration on disk was not taken: " + std::to_string(reload.faults.size()) +
           " fault(s), the first: " + checklist::text(reload.faults.front());
  if (reload.changed.empty()) return "the configuration was read anew: nothing changed";
  std::string out = "the configuration was read anew:";
  for (const auto& line : reload.changed) out += " " + line + ";";
  out.pop_back();
  return out;
}

Reload refusal(std::string code, std::string what) {
  Reload out;
  out.faults.push_back({checklist::Severity::fault, "", 0, "", std::move(code), std::move(what),
                        "start the daemon anew, without --safe"});
  return out;
}

serve::Answer answer_of(const Reload& reload, const std::string& target) {
  if (!reload.faults.empty()) {
    const auto& first = reload.faults.front();
    const bool own = first.code == "stopping" || first.code == "safe_start";
    auto answer = own ? serve::problem(first.code, first.what, target, first.remedy)
                      : serve::problem("reload_refused",
                                       "the configuration on disk was not taken (" +
                                           std::to_string(reload.faults.size()) +
                                           (reload.faults.size() == 1 ? " fault" : " faults") +
                                           "); the daemon goes on with the one before",
                                       target, "mend every fault, then reload again");
    auto body = boost::json::parse(answer.body).as_object();
    body["faults"] = faults_json(reload.faults);
    answer.body = boost::json::serialize(body);
    return answer;
  }
  serve::Answer answer;
  answer.body = boost::json::serialize(
      boost::json::object{{"taken", true}, {"changed", mirror::write(reload.changed)}});
  return answer;
}

}  // namespace tallystick
