#include "daemon/lobby.hpp"

#include <spdlog/spdlog.h>

#include <boost/asio/io_context.hpp>
#include <boost/asio/post.hpp>
#include <boost/asio/signal_set.hpp>
#include <boost/asio/steady_timer.hpp>
#include <boost/asio/thread_pool.hpp>
#include <iostream>

#include "daemon/first_setup.hpp"
#include "daemon/first_setup_request.hpp"
#include "daemon/house_parts.hpp"
#include "daemon/measure/json_mirror.hpp"
#include "daemon/pages/pages.hpp"
#include "daemon/serve/problem.hpp"
#include "daemon/serve/server.hpp"
#include "daemon/service_manager.hpp"
#include "drivers/ports/clock.hpp"

namespace tallystick {
namespace {

namespace asio = boost::asio;
namespace json = boost::json;
using namespace std::chrono_literals;

/// A desk without a bench.
class NoDesk final : public walk::DeskDoor {
 public:
  void command(walk::Command command, walk::Answered answered) override {
    static_cast<void>(command);
    answered(fail("not_now", "there is no configuration yet", "", "see the page of this address"));
  }
  std::vector<std::string> benches() const override { return {}; }
  json::value view(const std::string&) const override { return nullptr; }
  json::value list(const std::string&) const override { return json::array(); }
  void display_came(const std::string&, const std::string&) override {}
  void display_went(const std::string&, const std::string&) override {}
  void told(const std::string&, const std::string&, std::uint64_t, const Stamp&) override {}
  void on_view_changed(std::function<void(const std::string&)>) override {}
};

json::object with_faults(const serve::Answer& answer, const std::vector<checklist::Fault>& faults) {
  auto body = json::parse(answer.body).as_object();
  body["faults"] = faults_json(faults);
  return body;
}

class LobbyInside final : public Lobby {
 public:
  LobbyInside(HouseOptions options, Error why)
      : options_(std::move(options)),
        file_(record::configuration_file(options_.configuration)),
        why_(std::move(why)),
        first_(is_first(file_)),
        signals_(io_, SIGINT, SIGTERM),
        hang_up_(io_, SIGHUP),
        second_(io_) {
    if (!options_.manager) options_.manager = &nobody_;
    find_faults();
  }
  ~LobbyInside() override {
    slow_.join();
    if (server_) server_->stop();
    io_.restart();
    io_.poll();
  }

  Done listen() {
    serve::ServeConfig config;
    config.port = static_cast<std::uint16_t>(options_.lobby_port);
    // Only where the service manager made a folder for it: there is no data folder yet.
    if (const auto path = socket_path({}); path.front() == '/') config.unix_socket = path;
    serve::Surroundings around;
    around.clock = [this] { return clock_.now(); };
    const std::string_view front = first_ ? "setup.html" : "faults.html";
    std::string_view shown;
    for (const auto& page : pages::all())
      if (page.name == front) shown = page.bytes;
    // Every page that a person may have open leads to the one that says what to do.
    for (const auto& page : pages::all()) {
      const bool other = page.name.ends_with(".html");
      around.files.push_back({page.name, other ? shown : page.bytes});
    }
    around.health = [this] {
      return json::object{{"status", first_ ? "not_configured" : "configuration_unreadable"},
                          {"faults", faults_.size()}};
    };
    around.faults = [this] { return faults_json(faults_); };
    around.page = {
        {"shop", ""}, {"decimal_mark", "."}, {"theme", "system"}, {"language", "en"}, {"setup", first_}};
    around.version = options_.version;
    if (first_)
      around.routes.push_back(
          {"/api/v1/setup", [file = file_](const serve::Request& request) -> Expected<serve::Answer> {
             // Writing is the action's; this one only looks.
             static_cast<void>(request);
             serve::Answer answer;
             answer.body = json::serialize(setup_offer(file));
             return answer;
           }});
    around.actions.push_back({"/api/v1/setup", [this](const serve::Request& request, serve::Reply reply) {
                                set_up(request, std::move(reply));
                              }});
    around.actions.push_back(
        {"/api/v1/reload", [this](const serve::Request& request, serve::Reply reply) {
           try_again([reply = std::move(reply), target = request.target](const Error* refused) {
             serve::Answer answer;
             answer.body = R"({"taken":true,"changed":["the first configuration is being opened"]})";
             reply(refused ? serve::problem("reload_refused", text(*refused), target, refused->hint)
                           : answer);
           });
         }});
    auto server = serve::Server::start(io_, config, desk_, std::move(around));
    if (!server) return tl::unexpected(server.error());
    server_ = std::move(*server);
    return {};
  }

  Left run() override {
    signals_.async_wait([this](const boost::system::error_code& error, int) {
      if (!error) io_.stop();
    });
    wait_for_hang_up();
    spdlog::warn("{}", text(why_));
    options_.manager->ready(text(why_));
    std::cout << "listening on http://127.0.0.1:" << server_->port() << std::endl;
    tick();
    io_.run();
    return left_;
  }

 private:
  static bool is_first(const std::filesystem::path& file) {
    std::error_code code;
    return !std::filesystem::exists(std::filesystem::symlink_status(file, code));
  }

  void find_faults() {
    if (first_) return;
    auto loaded = record::load_configuration(file_);
    if (loaded) {
      faults_ = std::move(loaded->faults);
      // The rest follows from the one: nothing of such a file was read.
      std::erase_if(faults_, [](const auto& fault) { return fault.code != "not_toml"; });
    }
    if (faults_.empty())
      faults_.push_back({checklist::Severity::fault, file_.string(), 0, "", why_.code, why_.what, why_.hint});
  }

  void set_up(const serve::Request& request, serve::Reply reply) {
    if (!first_)
      return reply(serve::problem("configured_already", "there is a file " + file_.string(), request.target,
                                  "mend it, then run: tallystick reload"));
    auto wish = setup_from(request.body);
    if (!wish) return reply(serve::problem(wish.error(), request.target));
    wish->setup.port = options_.lobby_port == 0 ? 0 : server_->port();
    asio::post(slow_, [this, wish = std::move(*wish), reply = std::move(reply), target = request.target] {
      const auto lines = setup_text(wish.setup);
      std::vector<checklist::Fault> faults;
      const Done done = wish.write ? write_first(file_, lines, faults) : Done();
      serve::Answer answer;
      if (done) {
        answer.body = json::serialize(json::object{{"text", lines},
                                                   {"file", file_.string()},
                                                   {"written", wish.write},
                                                   {"faults", faults_json(faults)}});
      } else {
        answer = serve::problem(done.error(), target);
        answer.body = json::serialize(with_faults(answer, faults));
      }
      asio::post(io_, [this, reply, answer = std::move(answer), opened = done && wish.write] {
        reply(answer);
        if (opened) leave();
      });
    });
  }

  using Tried = std::function<void(const Error* refused)>;

  void try_again(const Tried& tried) {
    asio::post(slow_, [this, tried] {
      auto loaded = record::load_configuration(options_.configuration);
      Error refused;
      if (!loaded)
        refused = loaded.error();
      else
        for (const auto& fault : loaded->faults)
          if (fault.code == "not_toml") refused = {"not_toml", checklist::text(fault), "", ""};
      asio::post(io_, [this, tried, refused] {
        const bool good = refused.code.empty();
        if (!good) spdlog::error("{}", text(refused));
        options_.manager->ready(good ? "opening the configuration" : text(refused));
        if (tried) tried(good ? nullptr : &refused);
        if (good) leave();
      });
    });
  }

  void wait_for_hang_up() {
    hang_up_.async_wait([this](const boost::system::error_code& error, int) {
      if (error) return;
      options_.manager->reloading();
      try_again({});
      wait_for_hang_up();
    });
  }

  /// After the answer that is on its way has gone out.
  void leave() {
    left_ = Left::configured;
    second_.expires_after(300ms);
    second_.async_wait([this](const boost::system::error_code& error) {
      if (!error) io_.stop();
    });
  }

  /// There is no writing thread: this one turning is all the work there is.
  void tick() {
    if (left_ == Left::configured) return;
    if (options_.manager->watchdog()) options_.manager->alive();
    second_.expires_after(1s);
    second_.async_wait([this](const boost::system::error_code& error) {
      if (!error) tick();
    });
  }

  ServiceManager nobody_;
  HouseOptions options_;
  const std::filesystem::path file_;
  const Error why_;
  const bool first_;  ///< there is no file: the setup is offered
  std::vector<checklist::Fault> faults_;
  NoDesk desk_;
  ports::SystemClock clock_{ports::ClockTrust::Rules{}, 0};
  asio::io_context io_{1};
  asio::thread_pool slow_{1};
  asio::signal_set signals_, hang_up_;
  asio::steady_timer second_;
  std::unique_ptr<serve::Server> server_;
  Left left_ = Left::stopped;
};

}  // namespace

bool Lobby::answers(const Error& error) {
  return error.code == "configuration_unreadable" || error.code == "not_toml";
}

Expected<std::unique_ptr<Lobby>> Lobby::open(HouseOptions options, Error why) {
  auto lobby = std::make_unique<LobbyInside>(std::move(options), std::move(why));
  if (auto done = lobby->listen(); !done) return tl::unexpected(done.error());
  return std::unique_ptr<Lobby>(std::move(lobby));
}

}  // namespace tallystick
