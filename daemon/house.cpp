#include "daemon/house.hpp"

#include <spdlog/spdlog.h>

#include <boost/asio/io_context.hpp>
#include <boost/asio/post.hpp>
#include <boost/asio/signal_set.hpp>
#include <boost/asio/steady_timer.hpp>
#include <algorithm>
#include <boost/asio/thread_pool.hpp>
#include <iostream>
#include <random>

#include "daemon/house_parts.hpp"
#include "daemon/chain_watch.hpp"
#include "daemon/gauge_learning.hpp"
#include "daemon/house_reload.hpp"
#include "daemon/measure/json_mirror.hpp"
#include "daemon/notice_board.hpp"
#include "daemon/pages/pages.hpp"
#include "daemon/record/folder.hpp"
#include "daemon/record/journal.hpp"
#include "daemon/safe_door.hpp"
#include "daemon/serve/capture_routes.hpp"
#include "daemon/serve/checklist_routes.hpp"
#include "daemon/serve/gauge_routes.hpp"
#include "daemon/serve/history_routes.hpp"
#include "daemon/serve/problem.hpp"
#include "daemon/serve/record_routes.hpp"
#include "daemon/serve/server.hpp"
#include "daemon/serve/size_table_routes.hpp"
#include "daemon/service_manager.hpp"
#include "daemon/sink_to_desk.hpp"
#include "daemon/watchdog.hpp"
#include "drivers/ports/clock.hpp"
#include "drivers/ports/trial.hpp"

namespace tallystick {

namespace {

namespace asio = boost::asio;
using namespace std::chrono_literals;

constexpr std::uint64_t events_between_checkpoints = 500;

std::string today_of(const Stamp& now) { return utc_text(now.utc_us).substr(0, 10); }

class HouseInside : public House {
 public:
  explicit HouseInside(HouseOptions options)
      : options_(std::move(options)), signals_(io_), hang_up_(io_), second_(io_) {
    if (!options_.manager) options_.manager = &nobody_;
  }
  ~HouseInside() override { take_down(); }

  Done build() {
    auto configuration = record::load_configuration(options_.configuration, {.dialects = !options_.safe});
    if (!configuration) {
      auto error = configuration.error();
      error.code = "configuration_unreadable";
      return tl::unexpected(std::move(error));
    }
    configuration_ = std::move(*configuration);
    // Such a file does not say where the record lies; a new record in the folder of the default would be a second one.
    for (const auto& fault : configuration_.faults)
      if (fault.code == "not_toml" && fault.file == configuration_.file.filename()) return fail("not_toml", fault.what, fault.file, fault.remedy);
    for (const auto& fault : configuration_.faults) spdlog::warn("configuration: {}", checklist::text(fault));
    if (auto done = open_record(); !done) return done;
    if (auto done = make_desk(); !done) return done;
    if (auto done = listen(); !done) return done;
    if (options_.safe) spdlog::warn("safe start: no gauge is opened, nothing is taken; record, pages and export can be read");
    else open_ports();
    return {};
  }

  int run() override {
    signals_.add(SIGINT);
    signals_.add(SIGTERM);
    signals_.async_wait([this](const boost::system::error_code& error, int) {
      if (!error) begin_stop();
    });
    hang_up_.add(SIGHUP);
    wait_for_hang_up();
    clock_->watch(io_);
    watchdog_ = std::make_unique<Watchdog>(*options_.manager,
                                           [this](std::function<void()> turned) { writer_->turn(std::move(turned)); });
    options_.manager->ready(status_line());
    tick();
    watch_chain();
    std::cout << "listening on http://" << configuration_.shop.daemon.address << ':' << server_->port() << std::endl;
    io_.run();
    take_down();
    return 0;
  }

 private:
  Done open_record() {
    place_.data = configuration_.shop.daemon.data;
    ports::ClockTrust::Rules rules;
    rules.policy = configuration_.shop.daemon.clock == "own" ? ports::ClockPolicy::own : ports::ClockPolicy::network;
    rules.unsynchronised_ns = static_cast<std::int64_t>(configuration_.shop.daemon.unsynchronised_minutes * 6e10);
    record::Opening opening;
    opening.place = place_;
    opening.machine = record::machine_id();
    {
      ports::SystemClock first(rules, 0);
      opening.now = first.now();
    }
    auto journal = record::Journal::open(opening);
    if (!journal) return tl::unexpected(journal.error());
    journal_ = std::move(*journal);
    auto reader = record::Reader::open(place_);
    if (!reader) return tl::unexpected(reader.error());
    reader_ = std::move(*reader);
    std::int64_t last_utc_us = 0;
    if (const auto& last = journal_->standing().last; !last.empty())
      if (const auto event = reader_->event(last); event && *event) last_utc_us = (*event)->content.stamp.utc_us;
    clock_ = std::make_unique<ports::SystemClock>(rules, last_utc_us, [this](const ports::ClockStep& step, const Stamp&) {
      spdlog::warn("the clock was stepped by {} us", step.by_us());
      if (desk_) asio::post(io_, [this, step] { desk_->house_event("clock_stepped", {{"by_us", step.by_us()}, {"utc_before_us", step.utc_before_us}}); });
    });
    const auto& standing = journal_->standing();
    if (standing.branched) spdlog::warn("the journal goes on in a new branch: {}", standing.why);
    record::Writer::Hooks hooks;
    hooks.post = [this](std::function<void()> job) { asio::post(io_, std::move(job)); };
    hooks.keeping = [this](const record::Keeping& keeping) {
      if (keeping.kept) spdlog::info("readings are being kept again");
      else spdlog::error("nothing is being kept: {} ({})", keeping.why, keeping.hint);
      if (notices_) notices_->keeping(keeping.kept, keeping.why, keeping.hint);
      desk_->keeping(keeping.kept, keeping.why, keeping.hint, keeping.code);
    };
    writer_ = journal_->writer(std::move(hooks));
    return {};
  }

  Done make_desk() {
    walk::DeskSeams seams;
    seams.now = [this] { return clock_->now(); };
    seams.submit = [this](Proposal proposal, std::function<void(Expected<Key>)> committed) {
      clock_->journalled(proposal.stamp.utc_us);
      writer_->submit(std::move(proposal), std::move(committed));
    };
    seams.ask_gauge = [this](const std::string& gauge) { return ports_ ? ports_->ask(gauge) : fail("not_now", "no ports yet"); };
    seams.list_elsewhere = [this](const std::string& subject) -> boost::json::value {
      if (!ports_) return nullptr;
      if (subject == "ports") return mirror::write<true>(ports_->status());
      if (subject == "ports/recent") return mirror::write<true>(ports_->recent());
      if (subject == "ports/unasked") return mirror::write<true>(unasked_.all());
      if (subject == "ports/unknown") return mirror::write<true>(ports_->unknown_channels());
      return nullptr;
    };
    seams.log = [](const std::string& line) { spdlog::warn("{}", line); };
    desk_ = std::make_unique<walk::Desk>(std::move(seams));
    if (auto done = load_desk(*desk_, *reader_); !done) return done;
    words_of_day_ = today_of(clock_->now());
    if (options_.safe) {
      // The register stays as it was: without dialects the configuration cannot be held against itself.
      configuration_.shop.gauges.clear();
      for (const auto& [id, gauge] : desk_->states().gauges) configuration_.shop.gauges.push_back(gauge.card);
      safe_door_ = std::make_unique<SafeDoor>(*desk_);
    }
    desk_->configure(words_of(configuration_.shop, words_of_day_), configuration_.shop.gauges, candidates_of(configuration_));
    desk_->start();
    return {};
  }

  Done listen() {
    serve::ServeConfig config;
    config.address = configuration_.shop.daemon.address;
    config.port = static_cast<std::uint16_t>(configuration_.shop.daemon.port);
    config.unix_socket = socket_path(place_.data);
    serve::Surroundings around;
    around.clock = [this] { return clock_->now(); };
    for (const auto& page : pages::all()) around.files.push_back({page.name, page.bytes, page.gzip});
    around.routes = serve::record_routes(place_);
    for (auto& route : serve::history_routes(place_)) around.routes.push_back(std::move(route));
    for (auto& route : serve::capture_routes(place_)) around.routes.push_back(std::move(route));
    add_gauge_routes(around.routes);
    for (auto& route : serve::checklist_routes({*desk_, [this] { return configuration_.editions(); }, [this] { return configuration_.shop.gauges; }}))
      around.routes.push_back(std::move(route));
    for (auto& route : serve::size_table_routes(options_.configuration)) around.routes.push_back(std::move(route));
    around.drawing = [place = place_](const std::string& sha) -> Expected<serve::Answer> {
      auto reader = record::Reader::open(place);
      if (!reader) return tl::unexpected(reader.error());
      auto blob = (*reader)->blob(sha);
      if (!blob) return tl::unexpected(blob.error());
      if (!*blob) return fail("unknown_drawing", "no drawing " + sha, "drawing");
      serve::Answer answer;
      answer.media_type = (*blob)->media_type;
      answer.body = std::move((*blob)->bytes);
      return answer;
    };
    around.health = [this] { return health(); };
    around.faults = [this] { return faults_now(); };
    notices_ = std::make_unique<NoticeBoard>(
        place_.data / "notices.json", [this](std::function<void()> job) { asio::post(slow_, std::move(job)); },
        [this](boost::json::object cleared) { desk_->house_event("notice_cleared", std::move(cleared)); });
    for (auto& route : serve::notice_routes(notices_->seams([this] { return utc_text(clock_->now().utc_us); })))
      around.routes.push_back(std::move(route));
    around.page_now = [this] {
      auto page = page_settings(configuration_.shop);
      page["safe"] = options_.safe;
      return page;
    };
    around.actions.push_back({"/api/v1/reload", [this](const serve::Request& request, serve::Reply reply) {
                                begin_reload([reply = std::move(reply), target = request.target](const Reload& reload) {
                                  reply(answer_of(reload, target));
                                });
                              }});
    make_learning();
    for (auto& route : learning_->routes()) around.routes.push_back(std::move(route));
    around.actions.push_back({"/api/v1/learning/gauge", [this](const serve::Request& request, serve::Reply reply) {
                                learning_->add(request, std::move(reply));
                              }});
    around.version = options_.version;
    walk::DeskDoor& door = safe_door_ ? static_cast<walk::DeskDoor&>(*safe_door_) : *desk_;
    auto server = serve::Server::start(io_, config, door, std::move(around));
    if (!server) return tl::unexpected(server.error());
    server_ = std::move(*server);
    return {};
  }

  boost::json::array faults_now() const {
    auto out = refused_.empty() ? boost::json::array{} : refused_json(refused_, refused_at_);
    for (auto& fault : faults_json(record_faults_)) out.push_back(std::move(fault));
    for (auto& fault : faults_json(configuration_.faults)) out.push_back(std::move(fault));
    return out;
  }

  void make_learning() {
    LearningSeams seams{io_, slow_, *clock_, {}, {}, {}, {}, options_.safe};
    seams.dialects = [this] {
      std::vector<std::shared_ptr<const Dialect>> out;
      for (const auto& [name, dialect] : configuration_.dialects) out.push_back(std::make_shared<const Dialect>(dialect));
      return out;
    };
    seams.port_at = [this](const std::string& path) {
      std::error_code code;
      const auto same = [&](const std::string& other) {
        return !other.empty() && (other == path || std::filesystem::equivalent(other, path, code));
      };
      // A line on USB may be named by what it is: then only its driver knows the node.
      if (ports_)
        for (const auto& port : ports_->status())
          if (same(port.path) || same(port.node)) return port.port;
      return std::string();
    };
    seams.configuration = [this] { return configuration_.file; };
    seams.reload = [this](std::function<void(serve::Answer)> done) {
      begin_reload([done = std::move(done)](const Reload& reload) { done(answer_of(reload, "/api/v1/learning/gauge")); });
    };
    learning_ = std::make_unique<GaugeLearning>(std::move(seams));
  }

  void add_gauge_routes(std::vector<serve::Route>& routes) {
    serve::GaugeSeams seams{*desk_, {}, {}, {}};
    seams.begin = [this](const std::string& gauge) -> Done {
      trials_.begin(gauge, clock_->now());
      const auto card = std::find_if(configuration_.shop.gauges.begin(), configuration_.shop.gauges.end(),
                                     [&](const auto& one) { return one.id == gauge; });
      if (card == configuration_.shop.gauges.end() || card->speaks != "asked") return {};
      auto asked = ports_ ? ports_->ask(gauge) : fail("not_now", "no ports yet");
      if (!asked) trials_.end(gauge, "stopped", clock_->now());
      return asked;
    };
    seams.stop = [this](const std::string& gauge) { trials_.end(gauge, "stopped", clock_->now()); };
    seams.trial = [this](const std::string& gauge) {
      const auto* trial = trials_.of(gauge);
      return trial ? mirror::write<true>(*trial) : boost::json::value(nullptr);
    };
    for (auto& route : serve::gauge_routes(std::move(seams))) routes.push_back(std::move(route));
  }

  void open_ports() {
    sink_.desk = [this] { return desk_.get(); };
    sink_.trials = &trials_;
    sink_.unasked = &unasked_;
    sink_.now = [this] { return clock_->now(); };
    sink_.gauges_of = [this](const std::string& port) {
      std::vector<std::string> out;
      for (const auto& gauge : configuration_.shop.gauges)
        if (gauge.port == port) out.push_back(gauge.id);
      return out;
    };
    auto random = std::make_shared<std::minstd_rand>(std::random_device{}());
    ports_ = std::make_unique<ports::PortSet>(ports::Surroundings{
        io_, sink_, *clock_, spdlog::default_logger(),
        [random] { return std::uniform_real_distribution<double>(0, 1)(*random); }, 32, options_.keyboards, {},
        record::write_durably, place_.data});
    for (auto& port : ports_of(configuration_)) {
      if (auto done = ports_->add(port); !done) spdlog::error("port {}: {}", port.name, text(done.error()));
      else running_.push_back(std::move(port));
    }
    ports_->start();
  }

  boost::json::object health() const {
    const auto& standing = journal_->standing();
    const auto clock = clock_->state();
    boost::json::object out;
    out["journal"] = standing.journal;
    out["branch"] = standing.branch;
    out["branched"] = standing.branched;
    if (standing.branched) {
      out["branched_why"] = standing.why;
      out["kept_until"] = text(standing.kept_until);
    }
    out["clock"] = {{"trusted", clock.trusted}, {"why", clock.why}};
    out["faults"] = record_faults_.size() + configuration_.faults.size();
    if (chain_watch_) out["record"] = chain_watch_->state();
    return out;
  }

  void watch_chain() {
    chain_watch_ = std::make_unique<ChainWatch>(place_, [this](const record::Finding& first, std::uint64_t count) {
      asio::post(io_, [this, first, count] {
        record_faults_.push_back({checklist::Severity::fault, "journal.sqlite3", 0, first.where, first.code,
                                  "the record is not as it was written: " + first.what +
                                      (count > 1 ? " (and " + std::to_string(count - 1) + " findings more)" : ""),
                                  "run tallystick verify; keep a copy of the data folder before anything else"});
      });
    });
  }

  // ---- reading the configuration anew: on a thread of its own, while readings go on; swapped on this one

  using Taken = std::function<void(const Reload&)>;

  void wait_for_hang_up() {
    hang_up_.async_wait([this](const boost::system::error_code& error, int) {
      if (error) return;
      begin_reload({});
      wait_for_hang_up();
    });
  }

  void begin_reload(Taken taken) {
    if (stopping_) return taken ? taken(refusal("stopping", "the daemon is stopping")) : void();
    if (options_.safe)
      return taken ? taken(refusal("safe_start", "a safe start reads no dialect, so it cannot take a configuration")) : void();
    reloads_waiting_.push_back(std::move(taken));
    if (!reloading_) reload();   // else what changed since the one that runs began is read once more behind it
  }

  void reload() {
    reloading_ = true;
    options_.manager->reloading();
    // Who asks from here on asks for another one.
    asio::post(slow_, [this, waiting = std::exchange(reloads_waiting_, {})]() mutable {
      // Neither changes while reloading_ is set.
      auto reload = std::make_shared<Reload>(read_anew(configuration_, running_));
      asio::post(io_, [this, reload, waiting = std::move(waiting)] { end_reload(*reload, waiting); });
    });
  }

  void end_reload(Reload& reload, const std::vector<Taken>& waiting) {
    reloading_ = false;
    if (stopping_) return;
    if (reload.faults.empty()) take(reload);
    if (reload.faults.empty()) {
      spdlog::info("{}", summary(reload));
      refused_.clear();
    } else {
      spdlog::error("{}", summary(reload));
      refused_ = reload.faults;
      refused_at_ = utc_text(clock_->now().utc_us);
    }
    options_.manager->ready(reload.faults.empty() ? status_line() : summary(reload));
    for (const auto& taken : waiting)
      if (taken) taken(reload);
    if (!reloads_waiting_.empty()) this->reload();
  }

  void take(Reload& reload) {
    auto before = std::exchange(configuration_, std::move(reload.configuration));
    // Ports that did not change go on without a pause: their drivers are not touched.
    for (const auto& error : ports_->reload(reload.ports))
      reload.faults.push_back({checklist::Severity::fault, before.file.filename().string(), 0, error.where, error.code, error.what, error.hint});
    if (!reload.faults.empty()) {
      configuration_ = std::move(before);
      return;
    }
    running_ = std::move(reload.ports);
    words_of_day_ = today_of(clock_->now());
    desk_->configure(words_of(configuration_.shop, words_of_day_), configuration_.shop.gauges, candidates_of(configuration_));
    for (const auto& status : ports_->status()) sink_.port_changed(status);   // of gauges that are new at a port that stayed
  }

  /// What `systemctl status` shows.
  std::string status_line() const {
    const auto& shop = configuration_.shop;
    return (options_.safe ? std::string("SAFE START, no gauge is open; ") : std::string()) + std::to_string(shop.benches.size()) +
           " benches, " + std::to_string(running_.size()) + " ports, http://" + shop.daemon.address + ":" +
           std::to_string(server_->port()) + ", " + std::to_string(configuration_.faults.size()) + " faults and warnings";
  }

  void tick() {
    watchdog_->loop_turned();
    const auto now = clock_->now();
    const auto state = clock_->state();
    desk_->clock(state.trusted, state.why, state.code);
    if (const auto today = today_of(now); today != words_of_day_) {
      words_of_day_ = today;   // a plug's calibration may have come due overnight
      desk_->configure(words_of(configuration_.shop, today), configuration_.shop.gauges, candidates_of(configuration_));
    }
    desk_->tick();
    trials_.tick(now);
    notices_->look(faults_now(), ports_.get(), state, utc_text(now.utc_us));
    if (desk_->quiet() && desk_->events_since_checkpoint() >= events_between_checkpoints) keep_checkpoint();
    second_.expires_after(1s);
    second_.async_wait([this](const boost::system::error_code& error) {
      if (!error && !stopping_) tick();
    });
  }

  void keep_checkpoint() {
    auto [at, state] = desk_->checkpoint();
    if (!at.empty()) writer_->checkpoint(at, std::move(state));
  }

  /// Ports first, so that nothing new comes; then "stopped" is committed with what still waits; then the rest.
  void begin_stop() {
    if (stopping_) return;
    stopping_ = true;
    options_.manager->stopping();
    second_.cancel();
    hang_up_.cancel();
    if (ports_) ports_->stop();
    if (learning_) learning_->stop("stopped");
    server_->stop();
    desk_->house_event("stopped", {});
    wait_for_quiet(50);
  }

  void wait_for_quiet(int tries) {
    if (desk_->quiet() || tries == 0) {
      if (desk_->quiet()) keep_checkpoint();
      clock_->unwatch();
      signals_.cancel();
      io_.stop();
      return;
    }
    second_.expires_after(20ms);
    second_.async_wait([this, tries](const boost::system::error_code&) { wait_for_quiet(tries - 1); });
  }

  void take_down() {
    slow_.join();
    chain_watch_.reset();
    ports_.reset();
    if (server_) server_->stop();
    if (writer_) writer_->stop();
    io_.restart();
    io_.poll();   // what the writer still had to say
    watchdog_.reset();
    server_.reset();
    learning_.reset();
    safe_door_.reset();
    writer_.reset();
    desk_.reset();
    reader_.reset();
    journal_.reset();
    clock_.reset();
  }

  ServiceManager nobody_;
  HouseOptions options_;
  record::Configuration configuration_;
  std::vector<ports::PortConfig> running_;
  std::vector<checklist::Fault> record_faults_;   ///< what the check of the whole record found since the start
  std::vector<checklist::Fault> refused_;   ///< why the newest reload was not taken; empty: it was
  std::string refused_at_;
  record::Place place_;
  asio::io_context io_{1};
  asio::thread_pool slow_{1};   ///< reads the configuration anew
  asio::signal_set signals_, hang_up_;
  asio::steady_timer second_;
  std::vector<Taken> reloads_waiting_;
  bool reloading_ = false;
  std::unique_ptr<ports::SystemClock> clock_;
  std::unique_ptr<record::Journal> journal_;
  std::unique_ptr<record::Reader> reader_;
  std::unique_ptr<ChainWatch> chain_watch_;
  std::unique_ptr<record::Writer> writer_;
  std::unique_ptr<walk::Desk> desk_;
  std::unique_ptr<SafeDoor> safe_door_;
  std::unique_ptr<serve::Server> server_;
  std::unique_ptr<Watchdog> watchdog_;
  std::unique_ptr<NoticeBoard> notices_;
  std::unique_ptr<GaugeLearning> learning_;
  ports::Trials trials_;
  ports::UnaskedRing unasked_{32};
  SinkToDesk sink_;
  std::unique_ptr<ports::PortSet> ports_;
  std::string words_of_day_;
  bool stopping_ = false;
};

}  // namespace

Expected<std::unique_ptr<House>> House::open(HouseOptions options) {
  auto house = std::make_unique<HouseInside>(std::move(options));
  if (auto done = house->build(); !done) return tl::unexpected(done.error());
  return std::unique_ptr<House>(std::move(house));
}

}  // namespace tallystick
