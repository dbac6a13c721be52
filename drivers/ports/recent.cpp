#include "drivers/ports/recent.hpp"

#include "drivers/ports/trial.hpp"

namespace tallystick::ports {
namespace {

constexpr std::size_t bytes_shown = 256;
constexpr std::size_t channels_listed = 64;
constexpr std::int64_t told_again_after_ns = 60'000'000'000;

RecentFrame frame_of(const Frame& frame) {
  RecentFrame out;
  out.utc_us = frame.last.utc_us;
  out.bytes_hex = hex(std::string_view(frame.bytes).substr(0, bytes_shown));
  return out;
}

}  // namespace

std::string hex(std::string_view bytes) {
  static constexpr char digits[] = "0123456789abcdef";
  std::string out;
  out.reserve(bytes.size() * 2);
  for (const char c : bytes) {
    const auto byte = static_cast<unsigned char>(c);
    out.push_back(digits[byte >> 4U]);
    out.push_back(digits[byte & 15U]);
  }
  return out;
}

Recent::Recent(const PortConfig& config, std::size_t ring) : port_(config.name), ring_(ring) {
  memory_[""].head = {{}, config.name, {}, 0, 0, {}, {}};
  for (const auto& gauge : config.gauges) {
    memory_[gauge.id].head = {gauge.id, config.name, gauge.channel, 0, 0, {}, {}};
  }
}

void Recent::remember(Memory& memory, RecentFrame frame) {
  memory.frames.push_back(std::move(frame));
  while (memory.frames.size() > ring_) memory.frames.pop_front();
}

RecentFrame recent_frame(const Reading& reading) {
  RecentFrame frame = frame_of(reading.frame);
  frame.value = reading.decoded.value_text;
  frame.unit = reading.decoded.quantity.unit().name();
  frame.status = name(reading.decoded.status);
  frame.cause = name(reading.cause);
  return frame;
}

RecentFrame recent_frame(std::string_view reason, const std::string& detail, const Frame& frame) {
  RecentFrame out = frame_of(frame);
  out.refusal = reason;
  out.detail = detail;
  return out;
}

void Recent::reading(const Reading& reading) {
  const auto found = memory_.find(reading.gauge);
  if (found == memory_.end()) return;
  ++found->second.head.readings;
  found->second.head.last_heard_utc_us = reading.frame.last.utc_us;
  remember(found->second, recent_frame(reading));
}

void Recent::acted(const std::string& deed, const Frame& frame) {
  auto& memory = memory_[""];
  memory.head.last_heard_utc_us = frame.last.utc_us;
  RecentFrame out = frame_of(frame);
  out.cause = deed;
  remember(memory, std::move(out));
}

void Recent::refused(const std::string& gauge, std::string_view reason, const std::string& detail,
                     const Frame& frame) {
  auto found = memory_.find(gauge);
  if (found == memory_.end()) found = memory_.find("");
  ++found->second.head.refusals[std::string(reason)];
  remember(found->second, recent_frame(reason, detail, frame));
}

std::optional<UnknownChannel> Recent::unknown(const std::string& channel, const Decoded& decoded,
                                              const Frame& frame) {
  const bool room = unknown_.contains(channel) || unknown_.size() < channels_listed;
  Listed& listed = unknown_[room ? channel : std::string("...")];
  UnknownChannel& it = listed.channel;
  if (it.count == 0) {
    it.port = port_;
    it.channel = room ? channel : std::string("...");
    it.first_utc_us = frame.last.utc_us;
  }
  ++it.count;
  it.last_utc_us = frame.last.utc_us;
  it.last_value = decoded.value_text;
  it.last_unit = decoded.quantity.unit().name();
  it.last_bytes_hex = hex(std::string_view(frame.bytes).substr(0, bytes_shown));
  if (it.count > 1 && frame.last.steady_ns - listed.told_steady_ns < told_again_after_ns) return {};
  listed.told_steady_ns = frame.last.steady_ns;
  return it;
}

std::vector<GaugeRecent> Recent::gauges() const {
  std::vector<GaugeRecent> out;
  for (const auto& [id, memory] : memory_) {
    if (id.empty() && memory.frames.empty()) continue;
    out.push_back(memory.head);
    out.back().frames.assign(memory.frames.begin(), memory.frames.end());
  }
  return out;
}

std::vector<UnknownChannel> Recent::unknown_channels() const {
  std::vector<UnknownChannel> out;
  for (const auto& [channel, listed] : unknown_) out.push_back(listed.channel);
  return out;
}

}  // namespace tallystick::ports
