// Which displays each bench has. A display that comes back within the grace has not gone: a page that is
// loaded anew, or a cable that is touched, is no reason to hold a walk.
#pragma once

#include <boost/asio/io_context.hpp>
#include <boost/asio/steady_timer.hpp>
#include <chrono>
#include <map>
#include <memory>
#include <string>

#include "daemon/walk/desk_door.hpp"

namespace tallystick::serve {

class Displays {
 public:
  Displays(boost::asio::io_context& io, walk::DeskDoor& desk, std::chrono::milliseconds grace);
  /// A connection of that display is up / down. Several may be up at once. I/O thread.
  void up(const std::string& bench, const std::string& display);
  void down(const std::string& bench, const std::string& display);
  /// Tells the desk nothing any more.
  void stop();

 private:
  using Name = std::pair<std::string, std::string>;
  struct Display {
    std::size_t connections = 0;
    std::unique_ptr<boost::asio::steady_timer> leaving;
  };
  boost::asio::io_context& io_;
  walk::DeskDoor& desk_;
  std::chrono::milliseconds grace_;
  std::map<Name, Display> displays_;
};

}  // namespace tallystick::serve
