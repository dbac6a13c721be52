#include "daemon/port_cards.hpp"

#include <algorithm>
#include <chrono>
#include <cmath>

namespace tallystick {
namespace {

std::chrono::milliseconds milliseconds(double seconds) {
  return std::chrono::milliseconds(std::llround(seconds * 1000));
}

ports::TcpSettings tcp_settings(const shop::TcpCard& card) {
  ports::TcpSettings out;
  out.host = card.host;
  out.port = card.port;
  out.connect_timeout = milliseconds(card.connect_timeout_s);
  out.keep_alive_idle_s = card.keep_alive_idle_s;
  out.keep_alive_interval_s = card.keep_alive_interval_s;
  out.keep_alive_count = card.keep_alive_count;
  return out;
}

ports::FolderSettings folder_settings(const shop::FolderCard& card) {
  ports::FolderSettings out;
  out.files = card.files;
  out.whole = card.mode == "whole";
  out.encoding = card.encoding == "latin-1"  ? TextEncoding::latin1
                 : card.encoding == "utf-16" ? TextEncoding::utf16_low_first
                                             : TextEncoding::utf8;
  out.settle = std::chrono::milliseconds(card.settle_ms);
  out.same_again = card.same_again;
  out.look_every = milliseconds(card.look_every_s);
  return out;
}

ports::KeyDeed deed_of(const std::string& does) {
  return does == "ask"        ? ports::KeyDeed::ask
         : does == "again"    ? ports::KeyDeed::again
         : does == "not_good" ? ports::KeyDeed::not_good
                              : ports::KeyDeed::good;
}

ports::KeyboardSettings keyboard_settings(const shop::PortCard& port) {
  const auto& card = port.keyboard;
  const auto ends = [&](const char* word) {
    return std::find(card.ends.begin(), card.ends.end(), word) != card.ends.end();
  };
  ports::KeyboardSettings out;
  const auto usb = shop::usb_numbers(card.usb);
  out.vendor = usb.vendor;
  out.product = usb.product;
  out.serial = card.serial;
  out.socket = card.socket;
  out.path = port.path;
  out.layout = card.layout;
  out.enter = ends("enter");
  out.tab = ends("tab");
  out.gap = ends("gap");
  out.gap_time = std::chrono::milliseconds(card.gap_ms);
  out.repeat_window = milliseconds(card.repeat_window_s);
  out.bench = card.bench;
  for (const auto& action : card.actions)
    out.actions.push_back({action.key, action.text, deed_of(action.does), action.gauge, action.reason});
  return out;
}

Speaks speaks_of(const std::string& word) {
  return word == "asked" ? Speaks::asked : word == "streams" ? Speaks::streams : Speaks::pushed;
}

}  // namespace

std::optional<ports::PortConfig> port_config(const shop::PortCard& card,
                                             const record::Configuration& configuration) {
  ports::PortConfig out;
  out.name = card.id;
  out.path = card.key();
  out.driver = card.driver;
  if (card.over_network()) out.tcp = tcp_settings(card.tcp);
  if (card.usb.stands())
    out.usb = ports::usb_key(card.usb.serial, card.usb.port, card.usb.id, card.usb.interface);
  if (card.driver == "folder") out.folder = folder_settings(card.folder);
  if (card.driver == "keyboard") out.keyboard = keyboard_settings(card);
  const auto dialect = configuration.dialects.find(card.dialect);
  if (dialect != configuration.dialects.end())
    out.dialect = std::make_shared<const Dialect>(dialect->second);
  else if (card.dialect.empty())
    out.dialect = no_dialect();
  else
    return std::nullopt;
  for (const auto& gauge : configuration.shop.gauges)
    if (gauge.port == card.id) out.gauges.push_back({gauge.id, gauge.channel, speaks_of(gauge.speaks)});
  return out;
}

}  // namespace tallystick
