#include "daemon/notice_board.hpp"

#include <spdlog/spdlog.h>

#include <fstream>
#include <iterator>

#include "daemon/measure/json_mirror.hpp"
#include "daemon/record/folder.hpp"

namespace tallystick {

namespace {

std::string text_of(const boost::json::object& from, const char* name) {
  const auto* value = from.if_contains(name);
  return value && value->is_string() ? std::string(value->as_string()) : std::string();
}

std::vector<shop::Condition> conditions_of(const boost::json::array& faults) {
  std::vector<shop::Condition> out;
  for (const auto& fault : faults) {
    const auto& row = fault.as_object();
    out.push_back({text_of(row, "severity"), text_of(row, "code"), text_of(row, "where"),
                   text_of(row, "what"), text_of(row, "hint")});
  }
  return out;
}

std::vector<shop::Condition> conditions_of(const ports::PortSet& ports) {
  using ports::PortState;
  std::vector<shop::Condition> out;
  for (const auto& port : ports.status()) {
    const std::string where = "port " + port.port;
    if (port.state == PortState::absent || port.state == PortState::lost ||
        port.state == PortState::backing_off)
      out.push_back({"warning", port.code.empty() ? std::string(ports::name(port.state)) : port.code, where,
                     port.why, port.hint});
    for (const auto& warning : port.warnings)
      out.push_back({"warning", "port_warning", where + ": " + warning, warning, ""});
  }
  for (const auto& channel : ports.unknown_channels())
    out.push_back({"warning", "unknown_channel", "port " + channel.port + ", channel " + channel.channel,
                   "frames come on a channel that no gauge has; they are held, not given to a gauge",
                   "register the gauge with this channel, or switch the sender off"});
  return out;
}

}  // namespace

NoticeBoard::NoticeBoard(std::filesystem::path file, std::function<void(std::function<void()>)> write,
                         std::function<void(boost::json::object)> cleared)
    : file_(std::move(file)), write_(std::move(write)), cleared_(std::move(cleared)) {
  std::ifstream in(file_, std::ios::binary);
  if (!in) return;
  if (auto done = notices_.load(std::string(std::istreambuf_iterator<char>(in), {})); !done)
    spdlog::warn("{}: {}; what stands now is shown all the same", file_.string(), text(done.error()));
}

void NoticeBoard::look(const boost::json::array& faults, const ports::PortSet* ports,
                       const ports::ClockState& clock, const std::string& utc) {
  bool changed = notices_.stand("daemon", conditions_of(faults), utc);
  if (ports) changed = notices_.stand("ports", conditions_of(*ports), utc) || changed;
  std::vector<shop::Condition> clocks;
  if (!clock.trusted) clocks.push_back({"warning", clock.code, "clock", clock.why, clock.hint});
  changed = notices_.stand("clock", clocks, utc) || changed;
  changed = notices_.stand("record", keeping_, utc) || changed;
  if (changed) save();
}

void NoticeBoard::keeping(bool kept, const std::string& why, const std::string& hint) {
  keeping_.clear();
  if (!kept) keeping_.push_back({"fault", "not_kept", "record", "nothing is being kept: " + why, hint});
}

serve::NoticeSeams NoticeBoard::seams(std::function<std::string()> utc) {
  serve::NoticeSeams out;
  out.all = [this] { return mirror::write<true>(notices_.all()); };
  out.clear = [this, utc = std::move(utc)](const std::string& id,
                                           const std::string& person) -> Expected<boost::json::value> {
    auto cleared = notices_.clear(id, person, utc());
    if (!cleared) return tl::unexpected(cleared.error());
    save();
    cleared_({{"notice", cleared->id},
              {"code", cleared->code},
              {"where", cleared->where},
              {"what", cleared->what},
              {"person", person}});
    return mirror::write<true>(*cleared);
  };
  return out;
}

void NoticeBoard::save() {
  write_([file = file_, bytes = notices_.to_json_text()] {
    if (const auto done = record::write_durably(file, bytes); !done)
      spdlog::warn("the notices cannot be written: {}", text(done.error()));
  });
}

}  // namespace tallystick
