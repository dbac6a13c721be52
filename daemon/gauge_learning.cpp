#include "daemon/gauge_learning.hpp"

#include <algorithm>
#include <boost/asio/post.hpp>

#include "daemon/house_parts.hpp"
#include "daemon/measure/json_mirror.hpp"
#include "daemon/serve/problem.hpp"
#include "daemon/serve/routes.hpp"
#include "drivers/learn/findings_json.hpp"
#include "drivers/ports/found_ports.hpp"

namespace tallystick {
namespace {

namespace json = boost::json;
using learn::Session;

/// A person who went away must not keep a line from the others.
constexpr std::int64_t left_alone_us = 600'000'000;

std::string text_of(const json::object& body, const char* key) {
  const auto* found = body.if_contains(key);
  return found && found->is_string() ? std::string(found->as_string()) : std::string();
}

tl::unexpected<Error> wrong_shape(const char* member, const char* hint) {
  return fail("wrong_shape", std::string(member) + " is missing or of another kind", member, hint);
}

bool is_id(const std::string& text) {
  return !text.empty() && text.size() <= 40 && std::ranges::all_of(text, [](char c) {
    return (c >= 'a' && c <= 'z') || (c >= '0' && c <= '9') || c == '-';
  });
}

/// What a person filled in; the configuration's own check says whether it fits.
Expected<GaugeAddition> addition_from(const json::object& body) {
  const auto* gauge = body.if_contains("gauge");
  if (!gauge || !gauge->is_object())
    return wrong_shape("gauge", "send the gauge's card as an object of texts");
  const auto& card = gauge->as_object();
  GaugeAddition out;
  out.dialect = text_of(body, "dialect");
  auto& to = out.gauge;
  for (const auto& [key, member] : {std::pair{"id", &NewGauge::id},
                                    {"name", &NewGauge::name},
                                    {"kind", &NewGauge::kind},
                                    {"bench", &NewGauge::bench},
                                    {"channel", &NewGauge::channel},
                                    {"unit", &NewGauge::unit},
                                    {"range_lower", &NewGauge::range_lower},
                                    {"range_upper", &NewGauge::range_upper},
                                    {"resolution", &NewGauge::resolution},
                                    {"reads", &NewGauge::reads},
                                    {"speaks", &NewGauge::speaks}}) {
    if (card.contains(key)) to.*member = text_of(card, key);
  }
  if (!is_id(to.id)) return wrong_shape("gauge.id", "use 1 to 40 of a-z, 0-9 and -");
  if (!is_id(out.dialect)) return wrong_shape("dialect", "use 1 to 40 of a-z, 0-9 and -");
  return out;
}

/// A problem with the faults that the lines would bring.
serve::Answer refused(const Error& error, const AddedGauge& added, const std::string& target) {
  auto answer = serve::problem(error.code, error.what, target, error.hint);
  if (added.faults.empty()) return answer;
  auto body = json::parse(answer.body).as_object();
  body["faults"] = faults_json(added.faults);
  answer.body = json::serialize(body);
  return answer;
}

}  // namespace

GaugeLearning::GaugeLearning(LearningSeams seams)
    : seams_(std::move(seams)),
      ear_(seams_.io, seams_.clock,
           {[this](std::string_view bytes, const Stamp& when) { heard(bytes, when); },
            [this](const Error& why) { trouble_ = why; }}),
      timer_(seams_.io) {}

GaugeLearning::~GaugeLearning() { stop("stopped"); }

void GaugeLearning::stop(std::string_view why) {
  timer_.cancel();
  ear_.close();
  session_.reset();
  trouble_.reset();
  ended_why_ = why;
}

std::vector<serve::Route> GaugeLearning::routes() {
  const std::string path = "/api/v1/learning";
  return {
      {path, [this](const serve::Request&) -> Expected<serve::Answer> { return serve::json_answer(state()); },
       "GET", true},
      {path, [this](const serve::Request& request) { return act(request); }, "POST", true},
      {path + "/lines", [](const serve::Request&) -> Expected<serve::Answer> {
         return serve::json_answer(mirror::write<true>(ports::find_ports()));
       }}};
}

json::object GaugeLearning::state() const {
  json::object out{{"listening", session_.has_value()}, {"path", path_}, {"ended", ended_why_}};
  if (!session_) return out;
  json::array presses;
  for (const auto& press : session_->recording().presses) presses.push_back(learn::press_json(press));
  out["open"] = ear_.is_open();
  if (trouble_)
    out["trouble"] = {{"code", trouble_->code}, {"what", trouble_->what}, {"hint", trouble_->hint}};
  out["line"] = learn::settings_text(session_->line());
  out["wants"] = learn::name(session_->wants());
  out["heard"] = {{"bytes_hex", hex_text(session_->last_bytes())},
                  {"readable", learn::readable(session_->last_bytes())}};
  out["changed_settings"] = session_->changed_settings();
  out["tried_all"] = session_->tried_all();
  out["held_back"] = session_->held_back();
  out["presses"] = std::move(presses);
  for (auto& [key, value] : learn::findings_json(session_->findings())) out[key] = std::move(value);
  return out;
}

Done GaugeLearning::open() {
  trouble_.reset();
  auto done = ear_.open(path_, session_->line());
  if (!done) trouble_ = done.error();
  return done;
}

Done GaugeLearning::listen(const json::object& body) {
  const std::string path = text_of(body, "path");
  if (path.empty() || path.front() != '/')
    return wrong_shape("path", "the line's path, for instance below /dev/serial/by-id");
  std::optional<PortSettings> only;
  if (const std::string line = text_of(body, "line"); !line.empty()) {
    only = learn::settings_of(line);
    if (!only) return wrong_shape("line", "write speed, data bits, parity and stop bits: \"9600 7E1\"");
  }
  if (seams_.safe)
    return fail("safe_start", "the daemon was started with --safe: no line is opened", "path",
                "start it anew, without --safe");
  if (session_ && path != path_)
    return fail("not_now", "somebody listens at " + path_ + " already; one line at a time", "path",
                "stop that first");
  if (const std::string port = seams_.port_at(path); !port.empty())
    return fail("port_in_use", "the daemon itself reads this line, as port " + port, path,
                "take the port out of the configuration and reload, then listen; or listen at another line");
  ended_why_.clear();
  path_ = path;
  if (session_ && only) {
    session_->listen_with(*only);
  } else {
    session_.emplace(seams_.dialects(),
                     learn::Naming{"learned-gauge", utc_text(seams_.clock.now().utc_us).substr(0, 10)}, only);
  }
  if (auto done = open(); !done) {
    stop("");
    return done;
  }
  return {};
}

Expected<serve::Answer> GaugeLearning::act(const serve::Request& request) {
  const auto body = serve::object_from(request.body);
  if (!body) return tl::unexpected(body.error());
  const std::string what = text_of(*body, "do");
  Done done;
  if (what == "listen") {
    done = listen(*body);
  } else if (what == "stop") {
    stop("stopped");
  } else if (what != "shown" && what != "forget" && what != "continue") {
    return wrong_shape("do", "listen, shown, forget, continue or stop");
  } else if (!session_) {
    return fail("not_now", "nobody listens at a line", "do", "choose a line first");
  } else if (what == "shown") {
    done = session_->shown(text_of(*body, "shown"));
  } else if (what == "forget") {
    done = session_->forget();
  } else {
    session_->listen();
  }
  if (!done) return tl::unexpected(done.error());
  if (session_ && what != "listen" && !ear_.is_open()) static_cast<void>(open());
  last_touched_us_ = now_us();
  arm();
  return serve::json_answer(state());
}

void GaugeLearning::heard(std::string_view bytes, const Stamp& when) {
  if (!session_) return;
  session_->heard(bytes, when.steady_ns / 1000);
  last_touched_us_ = when.steady_ns / 1000;
  arm();
}

/// Wakes when a press would end, or when nobody has come for long.
void GaugeLearning::arm() {
  if (!session_) return;
  const std::int64_t at = session_->press_ends_us().value_or(last_touched_us_ + left_alone_us);
  timer_.expires_after(std::chrono::microseconds(std::max<std::int64_t>(at - now_us(), 0)));
  timer_.async_wait([this](const boost::system::error_code& error) {
    if (!error) woken();
  });
}

void GaugeLearning::woken() {
  if (!session_) return;
  if (now_us() - last_touched_us_ >= left_alone_us) return stop("time_over");
  const PortSettings before = session_->line();
  session_->tick(now_us());
  if (!(session_->line() == before)) static_cast<void>(open());
  arm();
}

void GaugeLearning::add(const serve::Request& request, serve::Reply reply) {
  const auto refuse = [&](const Error& error) {
    reply(serve::problem(error.code, error.what, request.target, error.hint));
  };
  const auto body = serve::object_from(request.body);
  if (!body) return refuse(body.error());
  auto addition = addition_from(*body);
  if (!addition) return refuse(addition.error());
  if (!session_) return refuse({"not_now", "nobody listens at a line", "path", "listen to the gauge first"});
  addition->path = path_;
  const bool learned =
      body->if_contains("learned") && body->at("learned").is_bool() && body->at("learned").as_bool();
  if (learned) {
    const auto findings = learn::learn(
        session_->recording(), {}, {addition->dialect, utc_text(seams_.clock.now().utc_us).substr(0, 10)});
    if (findings.proposals.empty())
      return refuse(
          {"not_now", "nothing is learned yet", "learned", "press again until a dialect is proposed"});
    addition->dialect_text = findings.proposals.front().toml;
  }
  const bool write = body->if_contains("write") && body->at("write").is_bool() && body->at("write").as_bool();
  boost::asio::post(
      seams_.slow, [this, addition = *addition, write, target = request.target,
                    configuration = seams_.configuration(), reply = std::move(reply)]() mutable {
        auto added = std::make_shared<AddedGauge>();
        auto done = add_gauge(configuration, addition, write, *added);
        boost::asio::post(seams_.io, [this, done, added, write, target, reply = std::move(reply)] {
          if (!done) return reply(refused(done.error(), *added, target));
          json::object out{{"written", write},
                           {"lines", added->lines},
                           {"file", added->file},
                           {"dialect_file", added->dialect_file}};
          if (!write) return reply(serve::json_answer(out));
          stop("written");  // the line is the new port's
          seams_.reload([reply, out](serve::Answer reloaded) mutable {
            out["reloaded"] = json::parse(reloaded.body);
            out["taken"] = reloaded.status == 200;
            reply(serve::json_answer(out));
          });
        });
      });
}

}  // namespace tallystick
