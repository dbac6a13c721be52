// Proves the whole chain once after a start, behind everything else.
#pragma once

#include <atomic>
#include <boost/json.hpp>
#include <functional>
#include <mutex>
#include <thread>

#include "daemon/record/verify.hpp"

namespace tallystick {

/// The start itself only looks at the newest events: a long record would keep the bench waiting. This goes through all of
/// it on a thread of its own, at the lowest priority and with pauses, while readings are taken. Made and destroyed on one
/// thread; `state` and `finding` may be called from any.
class ChainWatch {
 public:
  /// `broken` is called once, on the watch's own thread, if anything is not as it should be.
  ChainWatch(record::Place place, std::function<void(const record::Finding& first, std::uint64_t count)> broken);
  ~ChainWatch();
  ChainWatch(const ChainWatch&) = delete;
  ChainWatch& operator=(const ChainWatch&) = delete;

  /// {"state": "checking" | "sound" | "broken" | "not_checked", "events_checked", "events", "findings", "first"}.
  boost::json::object state() const;

 private:
  void run();

  const record::Place place_;
  const std::function<void(const record::Finding&, std::uint64_t)> broken_;
  std::atomic<bool> stop_ = false;
  mutable std::mutex mutex_;
  boost::json::object state_;
  std::thread thread_;   // last: it uses all of the above
};

}  // namespace tallystick
