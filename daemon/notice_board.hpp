// Gathers what is wrong in the house, second by second, and keeps it in a small file beside the record.
#pragma once

#include <filesystem>
#include <functional>
#include <string>

#include "daemon/serve/notice_routes.hpp"
#include "daemon/shop/notices.hpp"
#include "drivers/ports/clock_trust.hpp"
#include "drivers/ports/port_set.hpp"

namespace tallystick {

class NoticeBoard {
 public:
  /// `write`: runs a blocking job elsewhere, in order. `cleared`: for the journal. Reads the file, if there
  /// is one.
  NoticeBoard(std::filesystem::path file, std::function<void(std::function<void()>)> write,
              std::function<void(boost::json::object)> cleared);

  void look(const boost::json::array& faults, const ports::PortSet* ports, const ports::ClockState& clock,
            const std::string& utc);
  void keeping(bool kept, const std::string& why, const std::string& hint);
  serve::NoticeSeams seams(std::function<std::string()> utc);

 private:
  void save();
  std::filesystem::path file_;
  std::function<void(std::function<void()>)> write_;
  std::function<void(boost::json::object)> cleared_;
  shop::Notices notices_;
  std::vector<shop::Condition> keeping_;
};

}  // namespace tallystick
