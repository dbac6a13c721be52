#include "daemon/house.hpp"

#include <spdlog/sinks/stdout_sinks.h>
#include <spdlog/spdlog.h>

#include <boost/asio/io_context.hpp>
#include <boost/asio/post.hpp>
#include <boost/asio/signal_set.hpp>
#include <boost/asio/steady_timer.hpp>
#include <iostream>
#include <random>

#include "daemon/house_parts.hpp"
#include "daemon/measure/json_mirror.hpp"
#include "daemon/pages/pages.hpp"
#include "daemon/record/journal.hpp"
#include "daemon/serve/record_routes.hpp"
#include "daemon/serve/server.hpp"
#include "drivers/ports/clock.hpp"

namespace tallystick {

namespace {

namespace asio = boost::asio;
using namespace std::chrono_literals;

constexpr std::uint64_t events_between_checkpoints = 500;

/// What the ports tell, told on to the desk.
class SinkToDesk : public ports::GaugeSink {
 public:
  std::function<walk::Desk*()> desk;
  std::function<std::vector<std::string>(const std::string& port)> gauges_of;

  void reading(Reading reading) override { desk()->offer(std::move(reading)); }
  void refusal(const std::string& port, const std::string& gauge, const Refusal& refusal, const Frame& frame) override {
    const auto gauges = gauges_of(port);
    // A port with one gauge: its refused frames are that gauge's, whatever they say.
    desk()->refused(gauge.empty() && gauges.size() == 1 ? gauges.front() : gauge, refusal, frame);
  }
  void port_changed(const ports::PortStatus& status) override {
    walk::GaugeLine line;
    line.port_state = std::string(ports::name(status.state));
    line.since_utc_us = status.away_since_utc_us ? status.away_since_utc_us : status.since_utc_us;
    line.last_heard_utc_us = status.last_heard_utc_us;
    line.why = status.why;
    for (const auto& gauge : gauges_of(status.port)) desk()->line_changed(gauge, line);
  }
  void unknown_channel(const ports::UnknownChannel& channel) override {
    spdlog::warn("port {}: channel \"{}\" is not in the register; its frames are held, not given to a gauge", channel.port,
                 channel.channel);
  }
  void not_answered(const std::string&, const std::string& gauge, const Error& why) override {
    desk()->not_answered(gauge, why.code);
  }
};

std::string today_of(const Stamp& now) { return utc_text(now.utc_us).substr(0, 10); }

class HouseInside : public House {
 public:
  explicit HouseInside(HouseOptions options) : options_(std::move(options)), signals_(io_), second_(io_) {}
  ~HouseInside() override { take_down(); }

  Done build() {
    auto configuration = record::load_configuration(options_.configuration);
    if (!configuration) return tl::unexpected(configuration.error());
    configuration_ = std::move(*configuration);
    for (const auto& fault : configuration_.faults) spdlog::warn("configuration: {}", checklist::text(fault));
    if (auto done = open_record(); !done) return done;
    if (auto done = make_desk(); !done) return done;
    if (auto done = listen(); !done) return done;
    open_ports();
    return {};
  }

  int run() override {
    signals_.add(SIGINT);
    signals_.add(SIGTERM);
    signals_.async_wait([this](const boost::system::error_code& error, int) {
      if (!error) begin_stop();
    });
    clock_->watch(io_);
    tick();
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
      if (subject == "ports/unknown") return mirror::write<true>(ports_->unknown_channels());
      return nullptr;
    };
    seams.log = [](const std::string& line) { spdlog::warn("{}", line); };
    desk_ = std::make_unique<walk::Desk>(std::move(seams));
    if (auto done = load_desk(*desk_, *reader_); !done) return done;
    words_of_day_ = today_of(clock_->now());
    desk_->configure(words_of(configuration_.shop, words_of_day_), configuration_.shop.gauges, candidates_of(configuration_));
    desk_->start();
    return {};
  }

  Done listen() {
    serve::ServeConfig config;
    config.address = configuration_.shop.daemon.address;
    config.port = static_cast<std::uint16_t>(configuration_.shop.daemon.port);
    config.unix_socket = (place_.data / "tallystick.sock").string();
    serve::Surroundings around;
    around.clock = [this] { return clock_->now(); };
    for (const auto& page : pages::all()) around.files.push_back({page.name, page.bytes});
    around.routes = serve::record_routes(place_);
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
    around.faults = [this] { return faults_json(configuration_.faults); };
    around.page = page_settings(configuration_.shop);
    around.version = options_.version;
    auto server = serve::Server::start(io_, config, *desk_, std::move(around));
    if (!server) return tl::unexpected(server.error());
    server_ = std::move(*server);
    return {};
  }

  void open_ports() {
    sink_.desk = [this] { return desk_.get(); };
    sink_.gauges_of = [this](const std::string& port) {
      std::vector<std::string> out;
      for (const auto& gauge : configuration_.shop.gauges)
        if (gauge.port == port) out.push_back(gauge.id);
      return out;
    };
    auto random = std::make_shared<std::minstd_rand>(std::random_device{}());
    ports_ = std::make_unique<ports::PortSet>(ports::Surroundings{
        io_, sink_, *clock_, spdlog::default_logger(),
        [random] { return std::uniform_real_distribution<double>(0, 1)(*random); }});
    for (auto& port : ports_of(configuration_)) {
      const std::string name = port.name;
      if (auto done = ports_->add(std::move(port)); !done) spdlog::error("port {}: {}", name, text(done.error()));
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
    out["faults"] = configuration_.faults.size();
    return out;
  }

  void tick() {
    const auto now = clock_->now();
    const auto state = clock_->state();
    desk_->clock(state.trusted, state.why, state.code);
    if (const auto today = today_of(now); today != words_of_day_) {
      words_of_day_ = today;   // a plug's calibration may have come due overnight
      desk_->configure(words_of(configuration_.shop, today), configuration_.shop.gauges, candidates_of(configuration_));
    }
    desk_->tick();
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
    second_.cancel();
    if (ports_) ports_->stop();
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
    ports_.reset();
    if (server_) server_->stop();
    if (writer_) writer_->stop();
    io_.restart();
    io_.poll();   // what the writer still had to say
    server_.reset();
    writer_.reset();
    desk_.reset();
    reader_.reset();
    journal_.reset();
    clock_.reset();
  }

  HouseOptions options_;
  record::Configuration configuration_;
  record::Place place_;
  asio::io_context io_{1};
  asio::signal_set signals_;
  asio::steady_timer second_;
  std::unique_ptr<ports::SystemClock> clock_;
  std::unique_ptr<record::Journal> journal_;
  std::unique_ptr<record::Reader> reader_;
  std::unique_ptr<record::Writer> writer_;
  std::unique_ptr<walk::Desk> desk_;
  std::unique_ptr<serve::Server> server_;
  SinkToDesk sink_;
  std::unique_ptr<ports::PortSet> ports_;
  std::string words_of_day_;
  bool stopping_ = false;
};

}  // namespace

Expected<std::unique_ptr<House>> House::open(HouseOptions options) {
  spdlog::set_default_logger(spdlog::stderr_logger_mt("tallystickd"));
  auto house = std::make_unique<HouseInside>(std::move(options));
  if (auto done = house->build(); !done) return tl::unexpected(done.error());
  return std::unique_ptr<House>(std::move(house));
}

}  // namespace tallystick
