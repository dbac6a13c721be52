#include "drivers/ports/stream_port.hpp"

#include <poll.h>
#include <spdlog/logger.h>
#include <unistd.h>

#include <array>
#include <boost/asio/co_spawn.hpp>
#include <boost/asio/detached.hpp>
#include <boost/asio/io_context.hpp>
#include <boost/asio/redirect_error.hpp>
#include <boost/asio/use_awaitable.hpp>
#include <cerrno>
#include <chrono>
#include <cstring>

#include "drivers/decode/modbus_map.hpp"
#include "drivers/ports/clock.hpp"

namespace tallystick::ports {
namespace {

using boost::asio::posix::stream_descriptor;

std::int64_t nanoseconds(auto duration) {
  return std::chrono::duration_cast<std::chrono::nanoseconds>(duration).count();
}

PortLife::Limits limits_of(const Dialect& dialect) {
  PortLife::Limits limits;
  limits.silent_after_ns = nanoseconds(dialect.silent_after);
  limits.reopen_after_ns = nanoseconds(dialect.reopen_after);
  limits.warm_up_ns = nanoseconds(dialect.port.warm_up);
  return limits;
}

}  // namespace

StreamPort::StreamPort(PortConfig config, const Surroundings& surroundings)
    : config_(std::move(config)),
      around_(surroundings),
      life_(config_.name, limits_of(*config_.dialect)),
      decoder_(config_.dialect),
      recent_(config_, around_.ring),
      timer_(around_.loop) {
  if (const auto& ask = config_.dialect->ask) {
    asking_.emplace(Asking::Rules{nanoseconds(ask->reply_timeout), ask->retries, 64});
    if (!ask->error_query.empty()) error_queue_.emplace(nanoseconds(ask->reply_timeout));
  }
}

// --- life ---

void StreamPort::start() {
  if (running_) return;
  running_ = true;
  carry_out(life_.start(around_.clock.now().steady_ns));
}

void StreamPort::stop() {
  running_ = false;
  ++opening_;
  timer_.cancel();
  armed_for_.reset();
  if (stream_) stream_->release();
  stream_.reset();
  wire_.reset();
  give_up_opening();
}

void StreamPort::carry_out(Do todo) {
  while (running_) {
    if (!todo.log.empty()) {
      todo.log_as_warning ? around_.log->warn("{}", todo.log) : around_.log->info("{}", todo.log);
    }
    if (todo.changed) publish();
    if (todo.act == Do::Act::open) {
      todo = try_open();
    } else if (todo.act == Do::Act::close) {
      const Stamp now = around_.clock.now();
      close_wire(now);
      todo = life_.closed(now.steady_ns, around_.jitter());
    } else {
      break;
    }
  }
  arm();
}

Do StreamPort::try_open() {
  auto opening = open_wire();
  return opening ? take_opening(std::move(*opening)) : Do{};
}

void StreamPort::decided(Opening opening) {
  if (running_) carry_out(take_opening(std::move(opening)));
}

Do StreamPort::take_opening(Opening opening) {
  const Stamp now = around_.clock.now();
  if (!opening) return life_.open_failed(now.steady_ns, opening.error(), around_.jitter());
  wire_ = std::move(opening->wire);
  stream_.emplace(around_.loop, wire_->descriptor());
  last_byte_ns_ = opening->since.steady_ns;
  const auto& ask = config_.dialect->ask;
  next_ask_ns_ =
      ask && ask->every.count() > 0 ? now.steady_ns + nanoseconds(config_.dialect->port.warm_up) : 0;
  const Do todo = life_.opened(now.steady_ns);
  take(decoder_.opened(opening->since), now);
  // An answer to what was asked before this opening cannot be told from one to what is asked now.
  if (asking_ && config_.dialect->modbus && !config_.dialect->modbus->over_tcp)
    asking_->leave_alone(now.steady_ns);
  boost::asio::co_spawn(around_.loop, read(shared_from_this(), ++opening_), boost::asio::detached);
  return todo;
}

void StreamPort::close_wire(const Stamp& now) {
  ++opening_;
  writing_ = false;
  // The Wire owns the descriptor: taken out of the loop first, closed after.
  if (stream_) stream_->release();
  stream_.reset();
  wire_.reset();
  closed(now);
  // A gap that has passed ends its frame; the unplugging does not: a frame cut short must not pass for a
  // whole one.
  take(decoder_.poll(now), now);
  take(decoder_.opened(now), now);
  if (!asking_) return;
  if (error_queue_) {
    if (const auto told = error_queue_->drop()) tell_not_answered(told->request, told->why);
  }
  for (const auto& request : asking_->drop_all()) {
    around_.sink.not_answered(config_.name, request.gauge,
                              Error{"port_lost", "its port went away before it answered",
                                    "gauge " + request.gauge, "see that its port is back, then ask again"});
  }
}

void StreamPort::lose(Error why, const Stamp& now) { carry_out(life_.lost(now.steady_ns, why)); }

void StreamPort::publish() { around_.sink.port_changed(status()); }

PortStatus StreamPort::status() const {
  PortStatus out = counters_;
  const Stamp now = around_.clock.now();
  const auto utc = [&](std::int64_t steady_ns) { return now.utc_us - (now.steady_ns - steady_ns) / 1000; };
  out.port = config_.name;
  out.path = config_.path;
  out.node = wire_ ? wire_->node : std::string();
  out.dialect = config_.dialect->name;
  out.state = life_.shown();
  out.since_utc_us = utc(life_.since_ns());
  if (out.state != PortState::open && out.state != PortState::silent)
    out.away_since_utc_us = utc(life_.away_since_ns());
  if (life_.why()) {
    out.code = life_.why()->code;
    out.why = life_.why()->what;
    out.hint = life_.why()->hint;
  }
  out.warnings = key_warnings_;
  if (wire_) out.warnings.insert(out.warnings.end(), wire_->warnings.begin(), wire_->warnings.end());
  out.attempts = static_cast<std::int64_t>(life_.attempts());
  out.losses = static_cast<std::int64_t>(life_.losses());
  if (life_.last_heard_ns()) out.last_heard_utc_us = utc(*life_.last_heard_ns());
  out.warm_up_bytes = static_cast<std::int64_t>(decoder_.discarded());
  return out;
}

// --- bytes in ---

boost::asio::awaitable<void> StreamPort::read(std::shared_ptr<StreamPort> self, std::uint64_t opening) {
  while (running_ && opening == opening_) {
    boost::system::error_code error;
    co_await stream_->async_wait(stream_descriptor::wait_read,
                                 boost::asio::redirect_error(boost::asio::use_awaitable, error));
    if (!running_ || opening != opening_) co_return;
    const Stamp now = around_.clock.now();
    if (error) {
      lose(ended(error.message()), now);
      co_return;
    }
    if (!read_once(now)) co_return;
    pump();
    arm();
  }
  static_cast<void>(self);
}

bool StreamPort::read_once(const Stamp& now) {
  std::array<char, 4096> buffer;
  const ssize_t got = ::read(wire_->descriptor(), buffer.data(), buffer.size());
  if (got > 0) {
    counters_.bytes += got;
    last_byte_ns_ = now.steady_ns;
    take(decoder_.feed(std::string_view(buffer.data(), static_cast<std::size_t>(got)), now), now);
    return wire_ != nullptr;
  }
  if (got == 0) {
    lose(ended("end of file"), now);
    return false;
  }
  const int code = errno;
  if (code == EAGAIN || code == EINTR) {
    pollfd look{wire_->descriptor(), POLLIN, 0};
    if (::poll(&look, 1, 0) >= 0 && (look.revents & (POLLHUP | POLLERR | POLLNVAL)) == 0) return true;
    lose(ended("hang-up"), now);
    return false;
  }
  lose(ended(std::strerror(code)), now);
  return false;
}

const GaugeConfig* StreamPort::gauge_of(const Decoded& decoded) const {
  const std::string channel = decoded.channel.value_or(std::string());
  for (const auto& gauge : config_.gauges) {
    if (gauge.channel == channel) return &gauge;
  }
  return nullptr;
}

void StreamPort::take(std::vector<DecodeEvent> events, const Stamp& now) {
  for (auto& event : events) {
    if (!running_) return;
    if (take_queued_error(event, now)) continue;
    if (const Refusal* refusal = event.refusal())
      take_refused(*refusal, event.frame, now);
    else
      take_decoded(event, now);
  }
}

void StreamPort::take_refused(const Refusal& refusal, const Frame& frame, const Stamp& now) {
  const auto asked = asking_ ? asking_->asked_of() : std::nullopt;
  std::string gauge = config_.gauges.size() == 1 ? config_.gauges.front().id : std::string();
  if (asked && refusal.reply_to == ReplyTo::present) gauge = *asked;
  if (refusal.reply_to == ReplyTo::earlier) {
    ++counters_.late_replies;
    recent_.refused(gauge, "late_reply", refusal.detail, frame);
    return;
  }
  recent_.refused(gauge, name(refusal.reason), refusal.detail, frame);
  around_.sink.refusal(config_.name, gauge, refusal, frame);
  if (asked) heard_instead_ = refusal.detail;
  // Where a gauge can say what it did not like, a wrong reply is an answer.
  const bool answers = refusal.reply_to == ReplyTo::present || error_queue_;
  if (!asked || !answers) return;
  if (refusal.reply_to == ReplyTo::present) carry_out(life_.heard(now.steady_ns));
  const auto request = asking_ ? asking_->declined(frame.first.steady_ns, now.steady_ns) : std::nullopt;
  if (!request) return;
  const bool declined = refusal.reason == RefusalReason::declined;
  without_answer(
      *request, Error{declined ? "declined" : "no_value",
                      (declined ? "it declined the request: " : "it answered without a value: ") + refusal.detail,
                      "gauge " + request->gauge,
                      declined ? "look at its dialect's registers and at the gauge's settings"
                               : "see that it is in range and shows a value, then ask again"});
}

/// A request is over, and has no value: where the gauge has an error queue, that is asked first.
void StreamPort::without_answer(const Asking::Request& request, Error why) {
  if (!error_queue_) return tell_not_answered(request, std::move(why));
  error_queue_->begin(request, std::move(why));
}

/// True: the frame belongs to the error queue.
bool StreamPort::take_queued_error(const DecodeEvent& event, const Stamp& now) {
  if (!error_queue_ || !error_queue_->active()) return false;
  QueuedError entry;
  if (!error_queue_->line(event.frame.bytes, event.frame.first.steady_ns, entry)) return false;
  carry_out(life_.heard(now.steady_ns));
  if (entry.code != 0) {
    const Refusal refusal{RefusalReason::declined, "its error queue says: " + std::to_string(entry.code) + " " + entry.text};
    const std::string gauge = error_queue_->gauge();
    recent_.refused(gauge, name(refusal.reason), refusal.detail, event.frame);
    around_.sink.refusal(config_.name, gauge, refusal, event.frame);
  }
  if (auto told = error_queue_->finished(now.steady_ns)) tell_not_answered(told->request, std::move(told->why));
  return true;
}

void StreamPort::tell_not_answered(const Asking::Request& request, Error why) {
  ++counters_.unanswered;
  if (request.by_person) around_.sink.not_answered(config_.name, request.gauge, why);
}

void StreamPort::take_decoded(DecodeEvent& event, const Stamp& now) {
  const Decoded& decoded = *event.decoded();
  carry_out(life_.heard(now.steady_ns));
  const GaugeConfig* gauge = gauge_of(decoded);
  if (!gauge) {
    if (const auto told = recent_.unknown(decoded.channel.value_or(std::string()), decoded, event.frame)) {
      around_.log->warn("port {}: no gauge is registered for channel \"{}\" ({} frames held)", config_.name,
                        told->channel, told->count);
      around_.sink.unknown_channel(*told);
    }
    return;
  }
  if (!decoder_.identified()) {
    recent_.refused(gauge->id, "not_yet_identified", "the stream is not known yet", event.frame);
    return;
  }
  Reading reading{gauge->id, config_.name, decoded, event.frame, cause_of(gauge->speaks)};
  if (asking_ && gauge->speaks != Speaks::pushed) {
    switch (asking_->frame(gauge->id, event.frame.first.steady_ns, now.steady_ns)) {
      case Asking::Verdict::reply:
        reading.cause = asking_->answered().by_person ? Cause::asked : Cause::streamed;
        break;
      case Asking::Verdict::late:
        ++counters_.late_replies;
        recent_.refused(gauge->id, "late_reply", "it answers a request that was given up or repeated",
                        event.frame);
        return;
      case Asking::Verdict::unsolicited:
        ++counters_.unsolicited;
        recent_.refused(gauge->id, "unsolicited", "nothing was asked", event.frame);
        return;
    }
  }
  recent_.reading(reading);
  around_.sink.reading(std::move(reading));
}

// --- asking ---

Done StreamPort::ask(std::string_view gauge) {
  const auto found = std::find_if(config_.gauges.begin(), config_.gauges.end(),
                                  [&](const auto& g) { return g.id == gauge; });
  const std::string where = "gauge " + std::string(gauge);
  if (found == config_.gauges.end())
    return fail("unknown_gauge", "port " + config_.name + " has no such gauge", where);
  if (!asking_ || found->speaks != Speaks::asked) {
    return fail("not_asked", "it speaks by itself and cannot be asked", where, "press its button");
  }
  if (life_.state() != PortState::open && life_.state() != PortState::silent) {
    return fail("port_not_open", "its port " + config_.name + " is " + std::string(name(life_.shown())),
                where, life_.why() ? life_.why()->hint : std::string());
  }
  auto done = asking_->ask(found->id, true, around_.clock.now().steady_ns);
  if (!done) return done;
  pump();
  arm();
  return {};
}

void StreamPort::pump() {
  if (!asking_ || sending_ || !wire_ || life_.warming_up()) return;
  sending_ = true;
  waits_for_quiet_ = false;
  while (wire_) {
    const std::int64_t now = around_.clock.now().steady_ns;
    waits_for_quiet_ = now < may_send_at() && asking_->wants_to_send(now);
    if (waits_for_quiet_) break;
    if (error_queue_ && error_queue_->active()) {
      if (!error_queue_->wants_to_send()) break;
      error_queue_->sent(now);
      last_sent_ns_ = now;
      send_bytes(config_.dialect->ask->error_query);
      continue;
    }
    const auto request = asking_->to_send(now);
    if (!request) break;
    send(*request);
  }
  sending_ = false;
}

void StreamPort::send(const Asking::Request& request) {
  // What lies in the kernel's buffer came before the request and is no answer to it: take it out, with its
  // own stamp.
  pollfd waiting{wire_->descriptor(), POLLIN, 0};
  if (::poll(&waiting, 1, 0) > 0 && !read_once(around_.clock.now())) return;
  const auto gauge = std::find_if(config_.gauges.begin(), config_.gauges.end(),
                                  [&](const auto& each) { return each.id == request.gauge; });
  const Stamp now = around_.clock.now();
  asking_->sent(now.steady_ns);
  last_sent_ns_ = now.steady_ns;
  heard_instead_.clear();
  if (writing_ || gauge == config_.gauges.end()) return;  // (flow control) the time-out tells
  const std::string bytes = request_of(*gauge);
  take(decoder_.sent(bytes, now), now);
  if (wire_) send_bytes(bytes);
}

void StreamPort::send_bytes(const std::string& bytes) {
  if (writing_) return;  // (flow control) the time-out tells
  const ssize_t put = wire_->write(bytes);
  if (put < 0 && errno != EAGAIN && errno != EINTR) {
    lose(ended(std::strerror(errno)), around_.clock.now());
    return;
  }
  const std::size_t written = put > 0 ? static_cast<std::size_t>(put) : 0;
  if (written < bytes.size()) write_rest(bytes.substr(written));
}

std::string StreamPort::request_of(const GaugeConfig&) { return config_.dialect->ask->request; }

/// A line that several share is left silent for a moment between two frames.
std::int64_t StreamPort::may_send_at() const {
  const std::int64_t quiet = nanoseconds(config_.dialect->ask->quiet);
  return quiet == 0 ? 0 : std::max(last_byte_ns_, last_sent_ns_) + quiet;
}

void StreamPort::write_rest(std::string rest) {
  writing_ = true;
  stream_->async_wait(stream_descriptor::wait_write, [self = shared_from_this(), kept = std::move(rest),
                                                      opening = opening_](boost::system::error_code error) {
    if (opening != self->opening_) return;
    self->writing_ = false;
    // A write error is a hang-up: the reading side is told as well, and acts on it.
    const ssize_t put = error ? -1 : self->wire_->write(kept);
    if (put < 0 && (error || (errno != EAGAIN && errno != EINTR))) return;
    const std::size_t written = put > 0 ? static_cast<std::size_t>(put) : 0;
    if (written < kept.size()) self->write_rest(kept.substr(written));
  });
}

void StreamPort::ask_by_timer(std::int64_t now) {
  if (next_ask_ns_ == 0 || now < next_ask_ns_ || !wire_) return;
  const std::int64_t every = nanoseconds(config_.dialect->ask->every);
  next_ask_ns_ += every * ((now - next_ask_ns_) / every + 1);  // after a pause no burst
  for (const auto& gauge : config_.gauges) {
    if (gauge.speaks != Speaks::pushed) static_cast<void>(asking_->ask(gauge.id, false, now));
  }
}

// --- time ---

void StreamPort::arm() {
  if (!running_) return;
  std::optional<std::int64_t> wake = life_.wake_at();
  const auto sooner = [&](std::optional<std::int64_t> at) {
    if (at && (!wake || *at < *wake)) wake = at;
  };
  if (wire_) {
    if (const auto after = decoder_.next_poll_ns()) sooner(last_byte_ns_ + *after);
    if (asking_) {
      // What cannot go out yet must not wake at once again and again.
      if (waits_for_quiet_)
        sooner(may_send_at());
      else if (error_queue_ && error_queue_->active())
        sooner(error_queue_->wake_at());
      else
        sooner(asking_->wake_at());
    }
    if (next_ask_ns_ != 0) sooner(next_ask_ns_);
    sooner(also_wake_at());
  }
  // A timer that wakes too early costs less than setting it anew with every frame.
  if (!wake || (armed_for_ && *armed_for_ <= *wake)) return;
  armed_for_ = wake;
  const std::int64_t now = around_.clock.now().steady_ns;
  timer_.expires_after(std::chrono::nanoseconds(std::max<std::int64_t>(*wake - now, 0)));
  timer_.async_wait([self = shared_from_this()](boost::system::error_code error) {
    if (!error && self->running_) self->on_timer();
  });
}

void StreamPort::on_timer() {
  armed_for_.reset();
  const Stamp now = around_.clock.now();
  carry_out(life_.tick(now.steady_ns));
  if (wire_) {
    if (const auto after = decoder_.next_poll_ns(); after && now.steady_ns >= last_byte_ns_ + *after) {
      take(decoder_.poll(now), now);
    }
  }
  if (wire_) woke(now);
  if (asking_ && wire_) {
    if (const auto given_up = asking_->tick(now.steady_ns)) {
      decoder_.given_up();
      const std::string instead =
          heard_instead_.empty() ? "" : "; what was heard instead: " + heard_instead_;
      without_answer(
          given_up->request,
          Error{"no_reply", "it did not answer " + std::to_string(given_up->tries) + " requests" + instead,
                "gauge " + given_up->request.gauge,
                "check that it is switched on and its cable is in, then ask again"});
    }
    if (error_queue_) {
      if (auto told = error_queue_->finished(now.steady_ns)) tell_not_answered(told->request, std::move(told->why));
    }
    ask_by_timer(now.steady_ns);
    pump();
  }
  arm();
}

}  // namespace tallystick::ports
