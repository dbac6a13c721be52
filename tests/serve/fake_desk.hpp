// A desk that does what a test says: views are set from outside, commands are noted and answered as told.
#pragma once

#include <atomic>
#include <boost/asio/executor_work_guard.hpp>
#include <boost/asio/io_context.hpp>
#include <boost/asio/post.hpp>
#include <future>
#include <map>
#include <string>
#include <thread>
#include <utility>
#include <vector>

#include "daemon/serve/server.hpp"
#include "daemon/walk/desk_door.hpp"

namespace tallystick::test {

class FakeDesk : public walk::DeskDoor {
 public:
  void command(walk::Command command, walk::Answered answered) override {
    commands.push_back(command);
    if (answer) return answer(command, std::move(answered));
    answered(boost::json::object{{"done", command.kind}});
  }
  std::vector<std::string> benches() const override {
    std::vector<std::string> out;
    for (const auto& [name, view] : views) out.push_back(name);
    return out;
  }
  boost::json::value view(const std::string& bench) const override {
    const auto at = views.find(bench);
    return at == views.end() ? boost::json::value() : boost::json::value(at->second);
  }
  boost::json::value list(const std::string& subject) const override {
    const auto at = lists.find(subject);
    return at == lists.end() ? boost::json::value() : at->second;
  }
  void display_came(const std::string& bench, const std::string& display) override {
    log.push_back("came " + bench + " " + display);
  }
  void display_went(const std::string& bench, const std::string& display) override {
    log.push_back("went " + bench + " " + display);
  }
  void told(const std::string& bench, const std::string& display, std::uint64_t number,
            const Stamp& when) override {
    if (notes_told) log.push_back("told " + bench + " " + display + " " + std::to_string(number));
    last_told = when;
  }
  void on_view_changed(std::function<void(const std::string&)> function) override {
    changed = std::move(function);
  }

  /// Sets members of a bench's view and tells the server.
  void set(const std::string& bench, const boost::json::object& members) {
    auto& view = views[bench];
    for (const auto& member : members) view[member.key()] = member.value();
    view["bench"] = bench;
    view["sequence"] = ++sequence;
    if (changed) changed(bench);
  }

  std::map<std::string, boost::json::object> views;
  std::map<std::string, boost::json::value> lists;
  std::vector<walk::Command> commands;
  std::vector<std::string> log;
  std::function<void(const walk::Command&, walk::Answered)> answer;
  std::function<void(const std::string&)> changed;
  Stamp last_told;
  bool notes_told = true;
  std::uint64_t sequence = 0;
};

/// A server on a free port with a fake desk behind it, its I/O thread running. `on_io` is how a test touches
/// the desk.
class House {
 public:
  template <class Function>
  auto on_io(Function function) {
    std::packaged_task<decltype(function())()> task(std::move(function));
    auto result = task.get_future();
    boost::asio::post(io, [&task] { task(); });
    return result.get();
  }
  explicit House(serve::ServeConfig config = {}, serve::Surroundings around = {})
      : guard_(io.get_executor()) {
    desk.set("bench-1", {{"state", "idle"}, {"ask", "a1"}});
    config.port = 0;
    if (!around.clock) around.clock = [] { return Stamp{1'700'000'000'000'000, 42, "00", "trusted"}; };
    auto started = serve::Server::start(io, std::move(config), desk, std::move(around));
    if (!started) {
      error = started.error();
    } else {
      server = std::move(*started);
    }
    thread_ = std::thread([this] { io.run(); });
  }
  ~House() {
    on_io([this] {
      if (server) server->stop();
    });
    guard_.reset();
    io.stop();
    thread_.join();
  }
  std::vector<std::string> log() {
    return on_io([this] { return desk.log; });
  }
  /// Waits until the desk's log holds the line; false after `time`.
  bool logged(const std::string& line, std::chrono::milliseconds time = std::chrono::seconds(5)) {
    const auto end = std::chrono::steady_clock::now() + time;
    while (std::chrono::steady_clock::now() < end) {
      for (const auto& entry : log())
        if (entry == line) return true;
      std::this_thread::sleep_for(std::chrono::milliseconds(2));
    }
    return false;
  }
  std::uint16_t port() const { return server->port(); }

  boost::asio::io_context io;
  FakeDesk desk;
  std::unique_ptr<serve::Server> server;
  Error error;

 private:
  boost::asio::executor_work_guard<boost::asio::io_context::executor_type> guard_;
  std::thread thread_;
};

}  // namespace tallystick::test
