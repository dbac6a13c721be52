// What the gauges page shows: a bounded memory of frames and refusals for each gauge of a port, and the
// channels that no gauge has. Nothing of it enters the record.
#pragma once

#include <deque>
#include <map>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "drivers/ports/gauge.hpp"

namespace tallystick::ports {

std::string hex(std::string_view bytes);

class Recent {
 public:
  Recent(const PortConfig& config, std::size_t ring);

  void reading(const Reading& reading);
  /// `reason` is a RefusalReason's name, "late_reply" or "unsolicited".
  void refused(const std::string& gauge, std::string_view reason, const std::string& detail,
               const Frame& frame);
  /// A key or a text that acted; `deed` stands in the place of the cause.
  void acted(const std::string& deed, const Frame& frame);
  /// A frame of a channel that no gauge has. Returns what to tell the clients: at first, and at most once a
  /// minute.
  std::optional<UnknownChannel> unknown(const std::string& channel, const Decoded& decoded,
                                        const Frame& frame);

  std::vector<GaugeRecent> gauges() const;
  std::vector<UnknownChannel> unknown_channels() const;

 private:
  struct Memory {
    GaugeRecent head;  ///< its `frames` stay empty
    std::deque<RecentFrame> frames;
  };
  struct Listed {
    UnknownChannel channel;
    std::int64_t told_steady_ns = 0;
  };
  void remember(Memory& memory, RecentFrame frame);

  std::string port_;
  std::size_t ring_;
  std::map<std::string, Memory> memory_;   ///< by gauge; "" for the port itself
  std::map<std::string, Listed> unknown_;  ///< by channel; at most 64, the rest under "..."
};

}  // namespace tallystick::ports
