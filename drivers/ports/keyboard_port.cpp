#include "drivers/ports/keyboard_port.hpp"

#include <spdlog/logger.h>

#include <algorithm>

#include "drivers/decode/key_names.hpp"
#include "drivers/ports/access.hpp"
#include "drivers/ports/clock.hpp"

namespace tallystick::ports {
namespace {

/// The same instant on both clocks, told from one stamp and a steady time that lies near it.
Stamp stamp_at(const Stamp& now, std::int64_t steady_ns) {
  Stamp out = now;
  out.steady_ns = steady_ns;
  out.utc_us = now.utc_us - (now.steady_ns - steady_ns) / 1000;
  return out;
}

decode::KeyBurst::Rules rules_of(const PortConfig& config) {
  const auto& keyboard = config.keyboard;
  // The configuration was checked; a layout that is not there would be our own fault.
  decode::KeyBurst::Rules rules{
      decode::KeyLayout::named(keyboard.layout).value_or(*decode::KeyLayout::named("us")),
      {},
      {},
      {},
      {},
      {},
      {}};
  rules.enter = keyboard.enter;
  rules.tab = keyboard.tab;
  rules.gap = keyboard.gap;
  rules.gap_ns = std::chrono::nanoseconds(keyboard.gap_time).count();
  rules.longest = std::max<std::size_t>(config.dialect->framing.longest, 64);
  for (const auto& action : keyboard.actions)
    if (const auto code = decode::key_named(action.key)) rules.own.insert(*code);
  return rules;
}

/// "/dev/input/event5": a number, no identity.
bool is_plain_input_node(const std::string& path) {
  constexpr std::string_view begin = "/dev/input/event";
  return path.starts_with(begin) && path.size() > begin.size() &&
         path.find_first_not_of("0123456789", begin.size()) == std::string::npos;
}

/// What the end key stands for: the dialect's end bytes, where these are what such a key types.
std::string end_bytes(const Framing& framing) {
  const bool typed = !framing.end.empty() && framing.end.find_first_not_of("\r\n\t") == std::string::npos;
  return typed ? framing.end : std::string();
}

}  // namespace

bool types_texts(const PortConfig& config) {
  const auto& actions = config.keyboard.actions;
  return !config.gauges.empty() ||
         std::any_of(actions.begin(), actions.end(), [](const auto& one) { return !one.text.empty(); });
}

KeyboardPort::KeyboardPort(PortConfig config, const Surroundings& surroundings)
    : StreamPort(std::move(config), surroundings),
      devices_(surroundings.keyboards ? surroundings.keyboards : evdev_devices()),
      burst_(rules_of(config_)) {
  for (const auto& action : config_.keyboard.actions) {
    if (const auto code = decode::key_named(action.key))
      by_key_[*code] = action;
    else if (!action.text.empty())
      by_text_[action.text] = action;
  }
}

// --- life ---

void KeyboardPort::start() {
  if (running()) return;
  key_warnings_.clear();
  if (is_plain_input_node(config_.keyboard.path)) {
    const std::string better = suggested_key(config_.keyboard.path, "/dev/input/by-id", "/dev/input/by-path");
    key_warnings_.push_back(
        config_.keyboard.path +
        " is numbered in the order of plugging in and may name another device tomorrow; " +
        (better.empty() ? "say usb_id, usb_serial or socket instead" : "write path = \"" + better + "\""));
    around_.log->warn("port {}: {}", config_.name, key_warnings_.back());
  }
  StreamPort::start();
}

std::optional<StreamPort::Opening> KeyboardPort::open_wire() {
  auto source = devices_->open(config_.keyboard, types_texts(config_), "port " + config_.name);
  if (!source) return tl::unexpected<Error>(source.error());
  source_ = source->get();
  const Stamp now = around_.clock.now();
  burst_.opened(now.steady_ns);
  return Opened{std::move(*source), now};
}

Error KeyboardPort::ended(const std::string& how) const {
  return {"port_lost", "it was unplugged (" + how + ")", "port " + config_.name,
          "plug it in again; it is taken up by itself"};
}

std::vector<std::string> KeyboardPort::watched() const {
  auto out = devices_->watched();
  if (!config_.keyboard.path.empty()) out.push_back(config_.keyboard.path);
  return out;
}

void KeyboardPort::node_changed() {
  if (!running()) return;
  const Stamp now = around_.clock.now();
  if (!life_.holds()) return carry_out(life_.node_changed(now.steady_ns));
  // Another device that fits came while this one lives: which one is meant nobody knows any more.
  if (auto why = devices_->doubt(config_.keyboard, types_texts(config_), "port " + config_.name))
    lose(std::move(*why), now);
}

void KeyboardPort::closed(const Stamp& now) { take_outcomes(burst_.cut_off(), now); }

// --- keys in ---

bool KeyboardPort::read_once(const Stamp& now) {
  while (wire() != nullptr) {
    const auto event = source_->next();
    if (!event) {
      lose(ended(event.error().what), now);
      return false;
    }
    if (!*event) return true;
    take_outcomes(burst_.feed(**event), now);
  }
  return false;
}

void KeyboardPort::woke(const Stamp& now) {
  // Keys that wait came before now: only behind them is it known how long the pause was.
  if (read_once(now)) take_outcomes(burst_.poll(now.steady_ns), now);
}

void KeyboardPort::take_outcomes(std::vector<decode::KeyOutcome> outcomes, const Stamp& now) {
  for (auto& outcome : outcomes) {
    if (!running()) return;
    if (auto* burst = std::get_if<decode::Burst>(&outcome)) {
      take_burst(std::move(*burst), now);
    } else {
      const auto& press = std::get<decode::KeyPress>(outcome);
      const Stamp at = stamp_at(now, press.at_ns);
      act(by_key_.at(press.code), Frame{0, decode::key_name(press.code), at, at}, now);
    }
  }
}

void KeyboardPort::take_burst(decode::Burst burst, const Stamp& now) {
  counters_.bytes += static_cast<std::int64_t>(burst.text.size());
  Frame frame{0, burst.text, stamp_at(now, burst.first_ns), stamp_at(now, burst.last_ns)};
  if (burst.refusal) return refuse(std::move(frame), std::move(*burst.refusal), now);
  if (const auto action = by_text_.find(burst.text); action != by_text_.end())
    return act(action->second, frame, now);
  if (config_.gauges.empty())
    return refuse(std::move(frame), {RefusalReason::not_mine, "no action of the port has this text"}, now);
  decode_text(burst, frame, now);
}

void KeyboardPort::refuse(Frame frame, Refusal why, const Stamp& now) {
  std::vector<DecodeEvent> events;
  events.push_back({std::move(frame), std::move(why)});
  take(std::move(events), now);
}

/// A burst is whole: it begins and ends with a pause, whatever the dialect's own times are.
void KeyboardPort::decode_text(const decode::Burst& burst, const Frame& frame, const Stamp& now) {
  std::vector<DecodeEvent> events = decoder_.gap(frame.first);
  const auto add = [&](std::vector<DecodeEvent> more) {
    for (auto& one : more) events.push_back(std::move(one));
  };
  add(decoder_.feed(burst.text + end_bytes(config_.dialect->framing), frame.last));
  add(decoder_.gap(frame.last));
  for (auto& one : events) one.frame.first = frame.first;
  take(std::move(events), now);
}

void KeyboardPort::act(const KeyAction& action, const Frame& frame, const Stamp& now) {
  auto& last = acted_at_[{action.does, action.gauge}];
  const std::int64_t at = frame.first.steady_ns;
  const std::int64_t window = std::chrono::nanoseconds(config_.keyboard.repeat_window).count();
  if (last != 0 && at - last < window) {
    recent_.refused("", "repeated", "the same action came just before", frame);
    return;
  }
  last = at;
  carry_out(life_.heard(now.steady_ns));
  if (!running()) return;
  recent_.acted(std::string(name(action.does)), frame);
  around_.sink.acted({config_.name, config_.keyboard.bench, action.does, action.gauge, action.reason,
                      frame.bytes, frame.first});
}

}  // namespace tallystick::ports
