// The newest view of a bench as ready-made text, and what of it a viewer does not have yet. However slow a
// viewer is, nothing queues up: it gets the newest state, once it can take it.
#pragma once

#include <boost/json.hpp>
#include <cstdint>
#include <map>
#include <memory>
#include <optional>
#include <string>

#include "daemon/walk/view_text.hpp"

namespace tallystick::serve {

class BenchFeed {
 public:
  struct Message {
    std::shared_ptr<const std::string> text;  ///< {"type":"snapshot"|"change","sequence":n,"view":{...}}
    std::uint64_t sequence = 0;  ///< the view's
    std::uint64_t mark = 0;      ///< hand it to the next call of message_after
  };

  /// Takes the present view; false where nothing in it has changed.
  bool update(const boost::json::value& view);
  /// The same from ready-made text: only what has changed since the last call is copied.
  bool update(const walk::ViewText& view);
  /// What a viewer lacks that had everything up to `mark` (0: nothing yet, so it gets the whole view);
  /// nothing where it lacks nothing.
  std::optional<Message> message_after(std::uint64_t mark) const;

 private:
  struct Member {
    std::string text;
    std::uint64_t changed = 0;
  };
  void set(std::string_view name, std::string_view text, std::uint64_t mark);
  std::map<std::string, Member, std::less<>> members_;
  std::uint64_t mark_ = 0, sequence_ = 0;
  std::uint64_t copied_ = 0;   ///< sequence of the ready-made view that was taken last
  /// The message made last, and for which mark: displays that are up to date all get the same one.
  mutable std::shared_ptr<const std::string> made_;
  mutable std::uint64_t made_from_ = 0, made_to_ = 0;
};

}  // namespace tallystick::serve
