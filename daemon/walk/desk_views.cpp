// What the desk shows: the view of each bench, who was told of it, and the lists.
#include "daemon/measure/json_mirror.hpp"
#include "daemon/walk/desk.hpp"

namespace tallystick::walk {

namespace json = boost::json;

void Desk::refresh_view(const std::string& bench) {
  const auto known = windows_.find(bench);
  if (known == windows_.end()) return;
  auto& window = known->second;
  const Stamp now = seams_.now();
  std::map<std::string, Stamp> told;
  const auto context = context_for(bench, told);
  auto view = bench_view(states_, context, surrounding_, bench, now);
  view["sound"] = window.tone.empty() ? json::value(nullptr) : json::value({{"key", window.tone_key}, {"tone", window.tone}});
  view["press"] = window.press;
  if (view == window.view) return;
  ++window.sequence;
  std::map<std::string, Shown> asks;
  const auto keep = [&](const std::string& ask) {
    const auto old = window.asks.find(ask);
    asks[ask] = old == window.asks.end() ? Shown{window.sequence, {}} : old->second;
  };
  keep(std::string(view.at("ask").as_string()));
  for (const auto& [ask, gauge] : setting_asks(states_, context, bench, now)) keep(ask);
  window.asks = std::move(asks);
  window.view = std::move(view);
  if (changed_) changed_(bench);
}

std::vector<std::string> Desk::benches() const {
  std::vector<std::string> out = words_.benches;
  return out;
}

json::value Desk::view(const std::string& bench) const {
  const auto window = windows_.find(bench);
  if (window == windows_.end()) return nullptr;
  json::object out = window->second.view;
  out["sequence"] = window->second.sequence;
  return out;
}

void Desk::on_view_changed(std::function<void(const std::string&)> changed) { changed_ = std::move(changed); }

void Desk::told(const std::string& bench, const std::string& display, std::uint64_t sequence, const Stamp& when) {
  const auto known = windows_.find(bench);
  if (known == windows_.end() || !known->second.displays.contains(display)) return;
  auto& window = known->second;
  for (auto& [ask, shown] : window.asks) {
    if (shown.first_sequence > sequence || shown.told.contains(display)) continue;
    const bool first = shown.told.empty();
    shown.told[display] = when;
    if (first && window.view.contains("ask") && window.view.at("ask").as_string() == ask && ask != "idle") {
      window.to_keep = ToldKept{ask, display, when.utc_us};
      window.told_since = when;
    }
  }
}

void Desk::display_came(const std::string& bench, const std::string& display) {
  const auto known = windows_.find(bench);
  if (known == windows_.end() || !known->second.displays.insert(display).second) return;
  Input input;
  input.kind = "display_came";
  input.stamp = seams_.now();
  input.bench = bench;
  input.body["display"] = display;
  take(std::move(input), {}, {});
}

void Desk::display_went(const std::string& bench, const std::string& display) {
  const auto known = windows_.find(bench);
  if (known == windows_.end() || known->second.displays.erase(display) == 0) return;
  for (auto& [ask, shown] : known->second.asks) shown.told.erase(display);
  Input input;
  input.kind = "display_went";
  input.stamp = seams_.now();
  input.bench = bench;
  input.body["display"] = display;
  take(std::move(input), {}, {});
}

json::value Desk::list(const std::string& subject) const {
  json::array out;
  if (subject == "gauges") {
    for (const auto& bench : words_.benches)
      if (const auto window = windows_.find(bench); window != windows_.end() && window->second.view.contains("gauges"))
        for (const auto& gauge : window->second.view.at("gauges").as_array()) {
          json::object entry = gauge.as_object();
          entry["bench"] = bench;
          const auto& state = states_.gauges.at(std::string(entry["id"].as_string()));
          entry["card"] = mirror::write<true>(state.card);
          entry["fitness"] = state.fitness;
          entry["zero"] = state.zero.empty() ? json::value(nullptr) : json::value(state.zero);
          entry["gain"] = state.gain.empty() ? json::value(nullptr) : json::value(state.gain);
          entry["set_utc"] = state.set_at.boot.empty() ? json::value(nullptr) : json::value(utc_text(state.set_at.utc_us));
          out.push_back(std::move(entry));
        }
  } else if (subject == "lots") {
    for (const auto& [key, lot] : states_.lots) out.push_back(mirror::write<true>(lot));
  } else if (subject == "walks") {
    for (const auto& [key, walk] : states_.walks) out.push_back(mirror::write<true>(walk));
  } else if (subject == "editions") {
    for (const auto& [sha, edition] : states_.editions) {
      json::object entry = mirror::write<true>(edition).as_object();
      if (const auto known = catalogue_.find(sha); known != catalogue_.end()) entry["title"] = known->second->edition.title;
      out.push_back(std::move(entry));
    }
  } else if (subject == "suspects") {
    out = suspect_rows(states_);
  } else if (subject == "words") {
    json::array tools, changes;
    for (const auto& tool : words_.tools) tools.push_back({{"id", tool.id}, {"kind", tool.kind}, {"may_be_used", tool.may_be_used}});
    for (const auto& change : words_.run_changes) changes.push_back({{"change", change.change}, {"follows", change.follows}});
    return json::object{{"benches", mirror::write(words_.benches)}, {"retake_reasons", mirror::write(words_.retake_reasons)},
                        {"pass_reasons", mirror::write(words_.pass_reasons)}, {"run_changes", std::move(changes)}, {"tools", std::move(tools)},
                        {"suspect_reasons", mirror::write(words_.suspect_reasons)}, {"disposition_reasons", mirror::write(words_.disposition_reasons)}};
  } else if (subject.starts_with("edition/")) {
    const auto known = catalogue_.find(subject.substr(8));
    return known == catalogue_.end() ? json::value(nullptr) : json::parse(checklist::to_json_text(known->second->edition));
  } else {
    return seams_.list_elsewhere ? seams_.list_elsewhere(subject) : json::value(nullptr);
  }
  return out;
}

}  // namespace tallystick::walk
