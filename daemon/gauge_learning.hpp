// Finding and learning a gauge on the gauges page: one line at a time is listened to, started by a person,
// and nothing is ever sent to it. The daemon's own ports are not touched: a line that one of them has is
// refused.
#pragma once

#include <boost/asio/io_context.hpp>
#include <boost/asio/steady_timer.hpp>
#include <boost/asio/thread_pool.hpp>
#include <boost/json.hpp>
#include <functional>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "daemon/gauge_addition.hpp"
#include "daemon/serve/http.hpp"
#include "drivers/learn/session.hpp"
#include "drivers/ports/clock.hpp"
#include "drivers/ports/ear.hpp"

namespace tallystick {

/// All of it outlives the learning. Called on the I/O thread.
struct LearningSeams {
  boost::asio::io_context& io;
  boost::asio::thread_pool& slow;  ///< where files are read and written
  ports::Clock& clock;
  std::function<std::vector<std::shared_ptr<const Dialect>>()> dialects;
  /// The daemon's port that has this line; empty: none.
  std::function<std::string(const std::string& path)> port_at;
  std::function<std::filesystem::path()> configuration;
  /// Reads the configuration anew, then calls back with what a reload answers.
  std::function<void(std::function<void(serve::Answer)>)> reload;
  bool safe = false;  ///< a safe start: no line is opened
};

class GaugeLearning {
 public:
  explicit GaugeLearning(LearningSeams seams);
  ~GaugeLearning();

  /// GET /api/v1/learning, GET /api/v1/learning/lines, POST /api/v1/learning.
  std::vector<serve::Route> routes();
  /// POST /api/v1/learning/gauge: the lines of a configuration, shown or written. Replies later.
  void add(const serve::Request& request, serve::Reply reply);
  /// Lets the line go.
  void stop(std::string_view why);

 private:
  Expected<serve::Answer> act(const serve::Request& request);
  Done listen(const boost::json::object& body);
  Done open();
  boost::json::object state() const;
  void heard(std::string_view bytes, const Stamp& when);
  void arm();
  void woken();
  std::int64_t now_us() { return seams_.clock.now().steady_ns / 1000; }

  LearningSeams seams_;
  ports::Ear ear_;
  boost::asio::steady_timer timer_;
  std::optional<learn::Session> session_;
  std::string path_, ended_why_;
  std::optional<Error> trouble_;
  std::int64_t last_touched_us_ = 0;
};

}  // namespace tallystick
