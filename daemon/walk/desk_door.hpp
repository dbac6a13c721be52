// What the server may ask of the desk (the one owner of benches, walks, lots and gauges), and what it is told.
// Everything here runs on the I/O thread; nothing blocks.
#pragma once

#include <boost/json.hpp>
#include <functional>
#include <string>
#include <vector>

#include "daemon/measure/error.hpp"
#include "daemon/measure/stamp.hpp"

namespace tallystick::walk {

struct ViewText;

/// What the sender of a command had on its screen. A command whose walk has moved on is refused ("moved_on", 409).
/// Empty members are not compared.
struct Saw {
  std::string walk;  ///< key text
  std::string part;  ///< key text
  std::string ask;   ///< the view's "ask": what was asked for then
};

/// A command of a person or a program. `body` holds what the kind needs (the table stands in API.md of serve).
struct Command {
  std::string kind;              ///< "act", "begin_walk", "open_lot", "state_person", "park", ...
  std::string bench;             ///< empty for commands about a lot, a gauge, an edition
  Saw saw;
  std::string idempotency_key;   ///< the same key gives the same answer; empty: none
  std::string display;           ///< id of the page that sent it; may be empty
  boost::json::object body;
};

/// Given once, after the event is durable. Errors: "moved_on", "not_now" (409), "unknown_..." (404), "wrong_shape",
/// "refused" (422), "busy" (503, the bounded queue is full), "not_kept" (503).
using Answered = std::function<void(Expected<boost::json::object>)>;

class DeskDoor {
 public:
  virtual ~DeskDoor() = default;

  virtual void command(Command command, Answered answered) = 0;

  virtual std::vector<std::string> benches() const = 0;
  /// The whole view of a bench (VIEW.md beside this file); null value: no such bench.
  virtual boost::json::value view(const std::string& bench) const = 0;
  /// The same as ready-made text, member by member, for the displays (view_text.hpp); valid until the next change. Null:
  /// no such bench, or a desk that has no such text: then `view` is to be asked.
  virtual const ViewText* view_text(const std::string& bench) const {
    static_cast<void>(bench);
    return nullptr;
  }
  /// State of all gauges, lots, walks, suspects, editions: for GET end points. Null: unknown subject.
  virtual boost::json::value list(const std::string& subject) const = 0;

  /// A display of the bench connected / went for good (a short cut of the connection is the server's to bridge).
  virtual void display_came(const std::string& bench, const std::string& display) = 0;
  virtual void display_went(const std::string& bench, const std::string& display) = 0;
  /// The view with this "sequence" was written to that display's socket, completely, at `when`.
  virtual void told(const std::string& bench, const std::string& display, std::uint64_t sequence, const Stamp& when) = 0;

  /// Called after every change of a bench's view, with the bench's name. Set once.
  virtual void on_view_changed(std::function<void(const std::string& bench)> changed) = 0;
};

}  // namespace tallystick::walk
