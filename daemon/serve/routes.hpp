// From a request to its answer: pages, the JSON of the desk, commands, and the routes of other rooms.
#pragma once

#include <boost/json.hpp>
#include <chrono>
#include <functional>
#include <map>
#include <string>
#include <string_view>
#include <vector>

#include "daemon/measure/stamp.hpp"
#include "daemon/serve/http.hpp"
#include "daemon/serve/metrics.hpp"
#include "daemon/walk/desk_door.hpp"

namespace tallystick::serve {

/// A page file as it was when the daemon was built; `bytes` outlive the server.
struct StaticFile {
  std::string_view name;
  std::string_view bytes;
  std::string_view gzip = {};   ///< the same compressed, for who accepts it; empty: there is none
};

/// What main hands in besides the desk. Functions without a note run on the I/O thread and must not block.
struct Surroundings {
  std::function<Stamp()> clock;                                     ///< stamps "told"; must be set
  std::vector<StaticFile> files;                                    ///< the pages
  std::vector<Route> routes;                                        ///< export, results, gauges, ...
  std::function<Expected<Answer>(const std::string& sha)> drawing;  ///< on the pool
  std::function<boost::json::object()> health;                      ///< members added to /api/v1/health
  std::function<boost::json::array()> faults;  ///< of the configuration: [{code, what, where, hint, ...}]
  boost::json::object page;                    ///< settings of the pages: {"decimal_mark", "reasons", ...}
  std::function<boost::json::object()> page_now;  ///< stands in for `page` where it is set
  std::vector<Action> actions;                    ///< reload, first setup, ...
  std::string version;
};

/// Runs what it is given elsewhere: on the pool, or back on the I/O thread.
using Runner = std::function<void(std::function<void()>)>;

class Routes {
 public:
  /// `desk` and `surroundings` must outlive this.
  Routes(walk::DeskDoor& desk, const Surroundings& surroundings, Runner on_pool, Runner on_io);

  /// How many connections are open, for /metrics.
  void count_connections(std::function<std::size_t()> count) { connections_ = std::move(count); }
  /// Answers through `reply`, at once or later. Host and Origin are checked before. I/O thread.
  void answer(Request request, Reply reply);

 private:
  struct Page {
    std::string_view bytes, gzip;
    std::string etag, media_type;
  };
  using Serve = std::function<void(Request, Reply)>;
  /// The one table of routes: what is not in it is not served. Dispatched from the top, the first that fits; listed at
  /// /api/v1/routes, and held against openapi.json both ways.
  struct Entry {
    std::string path, method;
    Serve serve;
  };
  void add(std::string path, std::string method, Serve serve);
  void read(std::string path, std::function<Answer(const Request&)> answer);
  void add_handed_in();
  void add_desk();
  void add_house();
  void add_pages();
  void command(Request request, Reply reply);
  void run(const Route& route, Request request, Reply reply);
  Measured measured() const;
  Answer benches() const;
  Answer list_or_unknown(const std::string& subject, const Request& request) const;
  Answer page(const Request& request, const std::string& name) const;
  Answer bench(const Request& request) const;

  walk::DeskDoor& desk_;
  const Surroundings& surroundings_;
  Runner on_pool_, on_io_;
  std::function<std::size_t()> connections_;
  std::map<std::string, Page, std::less<>> pages_;
  std::vector<Entry> table_;
};

/// An answer that holds JSON and is not to be kept by anybody.
Answer json_answer(const boost::json::value& value);
/// The body of a POST as one JSON object. Errors: "not_json", "wrong_shape".
Expected<boost::json::object> object_from(const std::string& body);

/// Reads the body of a POST: {kind, saw?, idempotency_key?, display?, bench?, ...rest}. Errors: "not_json",
/// "wrong_shape".
Expected<walk::Command> command_from(const Request& request, const std::string& bench);

}  // namespace tallystick::serve
