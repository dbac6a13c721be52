#include "drivers/ports/serial_port.hpp"

#include <poll.h>
#include <spdlog/logger.h>
#include <sys/stat.h>
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

#include "drivers/ports/access.hpp"
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
  limits.warm_up_ns = nanoseconds(dialect.port.warm_up);
  return limits;
}

/// Tells two states of a node apart (another device, another owner or mode); 0: it is not there.
std::int64_t mark_of(const std::string& path) {
  struct stat about {};
  if (::stat(path.c_str(), &about) != 0) return 0;
  const auto changed = static_cast<std::uint64_t>(about.st_ctim.tv_sec) * 1'000'000'007U +
                       static_cast<std::uint64_t>(about.st_ctim.tv_nsec);
  return static_cast<std::int64_t>((changed ^ (about.st_rdev << 20U) ^ about.st_ino) | 1U);
}

Error hung_up(const std::string& port, const char* how) {
  return {"port_lost", std::string("it was unplugged, or its other end closed (") + how + ")", "port " + port,
          "plug it in again; it is taken up by itself"};
}

}  // namespace

SerialPort::SerialPort(PortConfig config, const Surroundings& surroundings)
    : config_(std::move(config)),
      around_(surroundings),
      life_(config_.name, limits_of(*config_.dialect)),
      decoder_(config_.dialect),
      recent_(config_, around_.ring),
      timer_(around_.loop) {
  if (const auto& ask = config_.dialect->ask) {
    asking_.emplace(Asking::Rules{nanoseconds(ask->reply_timeout), ask->retries, 64});
  }
}

// --- life ---

void SerialPort::start() {
  if (running_) return;
  running_ = true;
  if (is_plain_usb_node(config_.path)) {
    const std::string better = suggested_key(config_.path);
    key_warnings_.push_back(
        config_.path + " is numbered in the order of plugging in and may name another gauge tomorrow; " +
        (better.empty() ? "name its link below /dev/serial/by-id" : "write path = \"" + better + "\""));
    around_.log->warn("port {}: {}", config_.name, key_warnings_.back());
  }
  carry_out(life_.start(around_.clock.now().steady_ns));
}

void SerialPort::stop() {
  running_ = false;
  ++opening_;
  timer_.cancel();
  armed_for_.reset();
  if (stream_) stream_->release();
  stream_.reset();
  line_.reset();
}

void SerialPort::carry_out(Do todo) {
  while (running_) {
    if (!todo.log.empty()) {
      todo.log_as_warning ? around_.log->warn("{}", todo.log) : around_.log->info("{}", todo.log);
    }
    if (todo.changed) publish();
    if (todo.act == Do::Act::open) {
      todo = try_open();
    } else if (todo.act == Do::Act::close) {
      const Stamp now = around_.clock.now();
      close_line(now);
      todo = life_.closed(now.steady_ns, around_.jitter());
    } else {
      break;
    }
  }
  arm();
}

Do SerialPort::try_open() {
  auto line = open_line(config_.path, config_.dialect->port);
  const Stamp now = around_.clock.now();
  if (!line) {
    last_failure_mark_ = mark_of(config_.path);
    return life_.open_failed(now.steady_ns, line.error(), around_.jitter());
  }
  line_ = std::move(*line);
  stream_.emplace(around_.loop, line_->descriptor());
  last_byte_ns_ = now.steady_ns;
  const auto& ask = config_.dialect->ask;
  next_ask_ns_ =
      ask && ask->every.count() > 0 ? now.steady_ns + nanoseconds(config_.dialect->port.warm_up) : 0;
  const Do todo = life_.opened(now.steady_ns);
  take(decoder_.opened(now), now);
  boost::asio::co_spawn(around_.loop, read(shared_from_this(), ++opening_), boost::asio::detached);
  return todo;
}

void SerialPort::close_line(const Stamp& now) {
  ++opening_;
  writing_ = false;
  // The Line owns the descriptor: taken out of the loop first, closed after.
  if (stream_) stream_->release();
  stream_.reset();
  line_.reset();
  // A gap that has passed ends its frame; the unplugging does not: a frame cut short must not pass for a
  // whole one.
  take(decoder_.poll(now), now);
  take(decoder_.opened(now), now);
  if (!asking_) return;
  for (const auto& request : asking_->drop_all()) {
    around_.sink.not_answered(config_.name, request.gauge,
                              Error{"port_lost", "its port went away before it answered",
                                    "gauge " + request.gauge, "plug it in again, then ask again"});
  }
}

void SerialPort::lose(Error why, const Stamp& now) { carry_out(life_.lost(now.steady_ns, why)); }

void SerialPort::publish() { around_.sink.port_changed(status()); }

void SerialPort::node_changed() {
  if (!running_) return;
  const Stamp now = around_.clock.now();
  if (life_.holds()) {
    struct stat about {};
    // The key names another device now, while this one still lives: the key is the identity.
    if (line_ && ::stat(config_.path.c_str(), &about) == 0 && about.st_rdev != line_->device) {
      lose(Error{"port_moved", config_.path + " names another line now", "port " + config_.name, {}}, now);
      carry_out(life_.node_changed(now.steady_ns));
    }
    return;
  }
  const std::int64_t mark = mark_of(config_.path);
  if (mark == 0 || (life_.state() == PortState::backing_off && mark == last_failure_mark_)) return;
  carry_out(life_.node_changed(now.steady_ns));
}

PortStatus SerialPort::status() const {
  PortStatus out = counters_;
  const Stamp now = around_.clock.now();
  const auto utc = [&](std::int64_t steady_ns) { return now.utc_us - (now.steady_ns - steady_ns) / 1000; };
  out.port = config_.name;
  out.path = config_.path;
  out.node = line_ ? line_->node : std::string();
  out.dialect = config_.dialect->name;
  out.state = life_.state();
  out.since_utc_us = utc(life_.since_ns());
  if (out.state != PortState::open && out.state != PortState::silent)
    out.away_since_utc_us = utc(life_.away_since_ns());
  if (life_.why()) {
    out.code = life_.why()->code;
    out.why = life_.why()->what;
    out.hint = life_.why()->hint;
  }
  out.warnings = key_warnings_;
  if (line_) out.warnings.insert(out.warnings.end(), line_->warnings.begin(), line_->warnings.end());
  out.attempts = static_cast<std::int64_t>(life_.attempts());
  out.losses = static_cast<std::int64_t>(life_.losses());
  if (life_.last_heard_ns()) out.last_heard_utc_us = utc(*life_.last_heard_ns());
  out.warm_up_bytes = static_cast<std::int64_t>(decoder_.discarded());
  return out;
}

// --- bytes in ---

boost::asio::awaitable<void> SerialPort::read(std::shared_ptr<SerialPort> self, std::uint64_t opening) {
  while (running_ && opening == opening_) {
    boost::system::error_code error;
    co_await stream_->async_wait(stream_descriptor::wait_read,
                                 boost::asio::redirect_error(boost::asio::use_awaitable, error));
    if (!running_ || opening != opening_) co_return;
    const Stamp now = around_.clock.now();
    if (error) {
      lose(hung_up(config_.name, error.message().c_str()), now);
      co_return;
    }
    if (!read_once(now)) co_return;
    pump();
    arm();
  }
  static_cast<void>(self);
}

/// False: the port is lost (and already being looked for again).
bool SerialPort::read_once(const Stamp& now) {
  std::array<char, 4096> buffer;
  const ssize_t got = ::read(line_->descriptor(), buffer.data(), buffer.size());
  if (got > 0) {
    counters_.bytes += got;
    last_byte_ns_ = now.steady_ns;
    take(decoder_.feed(std::string_view(buffer.data(), static_cast<std::size_t>(got)), now), now);
    return line_ != nullptr;
  }
  if (got == 0) {
    lose(hung_up(config_.name, "end of file"), now);
    return false;
  }
  const int code = errno;
  if (code == EAGAIN || code == EINTR) {
    pollfd line{line_->descriptor(), POLLIN, 0};
    if (::poll(&line, 1, 0) >= 0 && (line.revents & (POLLHUP | POLLERR | POLLNVAL)) == 0) return true;
    lose(hung_up(config_.name, "hang-up"), now);
    return false;
  }
  lose(hung_up(config_.name, std::strerror(code)), now);
  return false;
}

const GaugeConfig* SerialPort::gauge_of(const Decoded& decoded) const {
  const std::string channel = decoded.channel.value_or(std::string());
  for (const auto& gauge : config_.gauges) {
    if (gauge.channel == channel) return &gauge;
  }
  return nullptr;
}

void SerialPort::take(std::vector<DecodeEvent> events, const Stamp& now) {
  for (auto& event : events) {
    if (!running_) return;
    if (const Refusal* refusal = event.refusal()) {
      const std::string gauge = config_.gauges.size() == 1 ? config_.gauges.front().id : std::string();
      recent_.refused(gauge, name(refusal->reason), refusal->detail, event.frame);
      around_.sink.refusal(config_.name, gauge, *refusal, event.frame);
    } else {
      take_decoded(event, now);
    }
  }
}

void SerialPort::take_decoded(DecodeEvent& event, const Stamp& now) {
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
  if (asking_ && gauge->speaks == Speaks::asked) {
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

Done SerialPort::ask(std::string_view gauge) {
  const auto found = std::find_if(config_.gauges.begin(), config_.gauges.end(),
                                  [&](const auto& g) { return g.id == gauge; });
  const std::string where = "gauge " + std::string(gauge);
  if (found == config_.gauges.end())
    return fail("unknown_gauge", "port " + config_.name + " has no such gauge", where);
  if (!asking_ || found->speaks != Speaks::asked) {
    return fail("not_asked", "it speaks by itself and cannot be asked", where, "press its button");
  }
  if (life_.state() != PortState::open && life_.state() != PortState::silent) {
    return fail("port_not_open", "its port " + config_.name + " is " + std::string(name(life_.state())),
                where, life_.why() ? life_.why()->hint : std::string());
  }
  auto done = asking_->ask(found->id, true, around_.clock.now().steady_ns);
  if (!done) return done;
  pump();
  arm();
  return {};
}

void SerialPort::pump() {
  if (!asking_ || sending_ || !line_ || life_.warming_up()) return;
  sending_ = true;
  while (line_) {
    const auto request = asking_->to_send(around_.clock.now().steady_ns);
    if (!request) break;
    send(*request);
  }
  sending_ = false;
}

void SerialPort::send(const Asking::Request& request) {
  // What lies in the kernel's buffer came before the request and is no answer to it: take it out, with its
  // own stamp.
  pollfd waiting{line_->descriptor(), POLLIN, 0};
  if (::poll(&waiting, 1, 0) > 0 && !read_once(around_.clock.now())) return;
  asking_->sent(around_.clock.now().steady_ns);
  if (writing_) return;  // the line takes nothing (flow control): the time-out tells
  const std::string& bytes = config_.dialect->ask->request;
  const ssize_t put = ::write(line_->descriptor(), bytes.data(), bytes.size());
  if (put < 0 && errno != EAGAIN && errno != EINTR) {
    lose(hung_up(config_.name, std::strerror(errno)), around_.clock.now());
    return;
  }
  const std::size_t written = put > 0 ? static_cast<std::size_t>(put) : 0;
  if (written < bytes.size()) write_rest(bytes.substr(written));
  static_cast<void>(request);
}

void SerialPort::write_rest(std::string rest) {
  writing_ = true;
  auto kept = std::make_shared<std::string>(std::move(rest));
  stream_->async_write_some(boost::asio::buffer(*kept),
                            [self = shared_from_this(), kept, opening = opening_](
                                boost::system::error_code error, std::size_t put) {
                              if (opening != self->opening_) return;
                              self->writing_ = false;
                              // A write error is a hang-up: the reading side is told as well, and acts on it.
                              if (!error && put < kept->size()) self->write_rest(kept->substr(put));
                            });
}

void SerialPort::ask_by_timer(std::int64_t now) {
  if (next_ask_ns_ == 0 || now < next_ask_ns_ || !line_) return;
  const std::int64_t every = nanoseconds(config_.dialect->ask->every);
  next_ask_ns_ += every * ((now - next_ask_ns_) / every + 1);  // after a pause no burst
  for (const auto& gauge : config_.gauges) {
    if (gauge.speaks == Speaks::asked) static_cast<void>(asking_->ask(gauge.id, false, now));
  }
}

// --- time ---

void SerialPort::arm() {
  if (!running_) return;
  std::optional<std::int64_t> wake = life_.wake_at();
  const auto sooner = [&](std::optional<std::int64_t> at) {
    if (at && (!wake || *at < *wake)) wake = at;
  };
  if (line_) {
    if (const auto after = decoder_.next_poll_ns()) sooner(last_byte_ns_ + *after);
    if (asking_) sooner(asking_->wake_at());
    if (next_ask_ns_ != 0) sooner(next_ask_ns_);
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

void SerialPort::on_timer() {
  armed_for_.reset();
  const Stamp now = around_.clock.now();
  carry_out(life_.tick(now.steady_ns));
  if (line_) {
    if (const auto after = decoder_.next_poll_ns(); after && now.steady_ns >= last_byte_ns_ + *after) {
      take(decoder_.poll(now), now);
    }
  }
  if (asking_ && line_) {
    if (const auto given_up = asking_->tick(now.steady_ns)) {
      ++counters_.unanswered;
      if (given_up->request.by_person) {
        around_.sink.not_answered(
            config_.name, given_up->request.gauge,
            Error{"no_reply", "it did not answer " + std::to_string(given_up->tries) + " requests",
                  "gauge " + given_up->request.gauge,
                  "check that it is switched on and its cable is in, then ask again"});
      }
    }
    ask_by_timer(now.steady_ns);
    pump();
  }
  arm();
}

}  // namespace tallystick::ports
