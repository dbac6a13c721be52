#include "drivers/ports/folder_port.hpp"

#include <spdlog/logger.h>
#include <sys/inotify.h>
#include <sys/vfs.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <boost/asio/io_context.hpp>
#include <boost/asio/post.hpp>
#include <condition_variable>
#include <mutex>
#include <thread>

#include "drivers/decode/decoder.hpp"
#include "drivers/ports/clock.hpp"

namespace tallystick::ports {
namespace {

constexpr std::uint32_t news = IN_CREATE | IN_MODIFY | IN_CLOSE_WRITE | IN_MOVED_TO | IN_MOVED_FROM | IN_DELETE |
                               IN_DELETE_SELF | IN_MOVE_SELF | IN_ONLYDIR;

/// File systems whose changes by other machines inotify does not tell (statfs(2), linux/magic.h).
bool is_share(const std::string& folder) {
  struct statfs about {};
  if (::statfs(folder.c_str(), &about) != 0) return false;
  constexpr std::array<std::uint32_t, 8> shares{0x6969,     0x517B,     0xFF534D42, 0xFE534D42,
                                                0x01021997, 0x65735546, 0x00C36400, 0x5346414F};
  return std::find(shares.begin(), shares.end(), static_cast<std::uint32_t>(about.f_type)) != shares.end();
}

std::string_view without_end(std::string_view line) {
  while (line.ends_with('\n') || line.ends_with('\r')) line.remove_suffix(1);
  return line;
}

}  // namespace

/// What came of a look.
struct FolderPort::Seen {
  Expected<FolderTaker::Look> look;
  bool told_of_changes = false;  ///< inotify watches it, and tells of all of them
  bool share = false;
};

/// Between the loop and the thread. The thread holds it, and ends by itself once `stopped`.
struct FolderPort::Shared {
  Shared(std::string folder, const FolderSettings& settings, const std::string& state_file, FolderTaker::Keep keep)
      : path(std::move(folder)), taker(path, settings, state_file, [this, keep](const auto& file, auto bytes) {
          const std::lock_guard lock(keeping);
          if (gone) return Done(fail("stopped", "the port was stopped"));
          return keep(file, bytes);
        }) {}

  const std::string path;
  FolderTaker taker;  ///< the thread's alone
  std::mutex keeping;
  bool gone = false;  ///< under `keeping`: nothing is kept any more, so nothing is taken

  std::mutex guard;
  std::condition_variable wanted;
  boost::asio::io_context* loop = nullptr;  ///< null once stopped
  bool look = false, stopped = false;
  int watch_descriptor = -1;  ///< a copy of its own
  std::function<void(Seen)> tell;
};

FolderPort::FolderPort(PortConfig config, const Surroundings& surroundings)
    : config_(std::move(config)),
      around_(surroundings),
      life_(config_.name, {}),
      recent_(config_, around_.ring),
      news_(around_.loop),
      timer_(around_.loop) {}

FolderPort::~FolderPort() { stop(); }

// --- life ---

void FolderPort::start() {
  if (running_) return;
  running_ = true;
  const bool kept = around_.keep && !around_.keep_folder.empty();
  shared_ = std::make_shared<Shared>(
      config_.path, config_.folder,
      kept ? (around_.keep_folder / ("folder-" + config_.name + ".json")).string() : std::string(), around_.keep);
  shared_->loop = &around_.loop;
  const int descriptor = ::inotify_init1(IN_NONBLOCK | IN_CLOEXEC);
  if (descriptor >= 0) {
    shared_->watch_descriptor = ::dup(descriptor);
    news_.assign(descriptor);
    watch();
  }
  shared_->tell = [weak = weak_from_this()](Seen seen) {
    if (const auto self = weak.lock(); self && self->running_) return self->looked(std::move(seen));
  };
  std::thread([shared = shared_] {
    for (;;) {
      {
        std::unique_lock lock(shared->guard);
        shared->wanted.wait(lock, [&] { return shared->look || shared->stopped; });
        if (shared->stopped) break;
        shared->look = false;
      }
      Seen seen{fail("", ""), false, is_share(shared->path)};
      const bool watched = shared->watch_descriptor >= 0 &&
                           ::inotify_add_watch(shared->watch_descriptor, shared->path.c_str(), news) >= 0;
      seen.told_of_changes = watched && !seen.share;
      seen.look = shared->taker.look(steady_now_ns());
      const std::lock_guard lock(shared->guard);
      if (shared->loop == nullptr) break;
      boost::asio::post(*shared->loop, [shared, seen = std::move(seen)]() mutable { shared->tell(std::move(seen)); });
    }
    if (shared->watch_descriptor >= 0) ::close(shared->watch_descriptor);
  }).detach();
  carry_out(life_.start(around_.clock.now().steady_ns));
}

void FolderPort::stop() {
  running_ = false;
  timer_.cancel();
  boost::system::error_code ignored;
  if (news_.is_open()) news_.close(ignored);
  if (!shared_) return;
  {
    const std::lock_guard lock(shared_->keeping);
    shared_->gone = true;
  }
  const std::lock_guard lock(shared_->guard);
  shared_->stopped = true;
  shared_->loop = nullptr;
  shared_->wanted.notify_one();
}

void FolderPort::carry_out(Do todo) {
  while (running_) {
    if (!todo.log.empty()) {
      todo.log_as_warning ? around_.log->warn("{}", todo.log) : around_.log->info("{}", todo.log);
    }
    if (todo.changed) publish();
    if (todo.act == Do::Act::open) {
      opening_ = true;
      look();
      break;
    }
    if (todo.act != Do::Act::close) break;
    next_look_ns_.reset();
    looked_at_.reset();
    todo = life_.closed(around_.clock.now().steady_ns, around_.jitter());
  }
  arm();
}

void FolderPort::node_changed() {
  if (running_ && !life_.holds()) carry_out(life_.node_changed(around_.clock.now().steady_ns));
}

// --- looking ---

void FolderPort::watch() {
  news_.async_wait(boost::asio::posix::stream_descriptor::wait_read,
                   [this, weak = weak_from_this()](boost::system::error_code error) {
                     const auto self = weak.lock();
                     if (error || !self || !running_) return;
                     std::array<char, 8192> buffer;
                     while (::read(news_.native_handle(), buffer.data(), buffer.size()) > 0) {
                     }
                     if (life_.holds()) look();
                     watch();
                   });
}

void FolderPort::look() {
  again_ = looking_;
  if (looking_) return;
  looking_ = true;
  next_look_ns_.reset();
  look_began_ = around_.clock.now();
  const std::lock_guard lock(shared_->guard);
  shared_->look = true;
  shared_->wanted.notify_one();
}

void FolderPort::looked(Seen seen) {
  looking_ = false;
  const Stamp now = around_.clock.now();
  if (!seen.look) {
    Error why = seen.look.error();
    if (why.where.empty()) why.where = "port " + config_.name;
    if (std::exchange(opening_, false))
      carry_out(life_.open_failed(now.steady_ns, why, around_.jitter()));
    else
      carry_out(life_.lost(now.steady_ns, why));
    return;
  }
  warnings_ = seen.look->warnings;
  if (seen.share)
    warnings_.push_back("it lies on a network share: a file is seen after up to " +
                        std::to_string(config_.folder.look_every.count()) + " ms, by the clock of whoever keeps it");
  else if (!seen.told_of_changes)
    warnings_.push_back("the system refuses to tell of changes: it is looked at every " +
                        std::to_string(config_.folder.look_every.count()) + " ms");
  if (std::exchange(opening_, false)) carry_out(life_.opened(now.steady_ns));
  for (const auto& piece : seen.look->pieces) {
    if (!running_) {
      around_.log->warn("port {}: {} was taken from {} and not given out: the port was stopped", config_.name,
                        tallystick::quoted(piece.bytes), piece.file);
      continue;
    }
    take(piece, now);
  }
  looked_at_ = look_began_;
  const auto in = [&](std::chrono::milliseconds time) { return now.steady_ns + time.count() * 1'000'000; };
  if (seen.look->again_after) next_look_ns_ = in(*seen.look->again_after);
  if (!seen.told_of_changes)
    next_look_ns_ = std::min(in(config_.folder.look_every), next_look_ns_.value_or(in(config_.folder.look_every)));
  if (running_ && std::exchange(again_, false)) look();
  arm();
}

void FolderPort::arm() {
  if (!running_) return;
  auto wake = life_.wake_at();
  if (next_look_ns_ && (!wake || *next_look_ns_ < *wake)) wake = next_look_ns_;
  timer_.cancel();
  if (!wake) return;
  timer_.expires_after(
      std::chrono::nanoseconds(std::max<std::int64_t>(*wake - around_.clock.now().steady_ns, 0)));
  timer_.async_wait([this, weak = weak_from_this()](boost::system::error_code error) {
    const auto self = weak.lock();
    if (error || !self || !running_) return;
    const Stamp now = around_.clock.now();
    if (next_look_ns_ && now.steady_ns >= *next_look_ns_) look();
    carry_out(life_.tick(now.steady_ns));
  });
}

// --- measurements ---

Stamp FolderPort::time_of(const TakenPiece& piece, const Stamp& now) const {
  std::int64_t ago_us = std::max<std::int64_t>(now.utc_us - piece.modified_us, 0);
  if (looked_at_) ago_us = std::min(ago_us, (now.steady_ns - looked_at_->steady_ns) / 1000);
  Stamp out = now;
  out.utc_us -= ago_us;
  out.steady_ns -= ago_us * 1000;
  return out;
}

void FolderPort::take(const TakenPiece& piece, const Stamp& now) {
  taken_bytes_ += piece.bytes.size();
  const Stamp when = time_of(piece, now);
  if (piece.rest || !piece.unreadable.empty()) {
    refuse(piece, {piece.rest ? RefusalReason::incomplete : RefusalReason::too_long,
                   piece.rest ? "the rest of a line that was taken before its end" : piece.unreadable},
           {0, piece.bytes, when, when});
    return;
  }
  // A file's line ends, whatever they are, stand for the dialect's terminator.
  const bool by_lines = config_.dialect->framing.by == CutBy::terminator;
  Decoder decoder(config_.dialect);
  const std::size_t mark = config_.folder.whole ? encoding_of(piece.bytes, piece.encoding).mark : 0;
  for (std::size_t at = mark; running_ && at < piece.bytes.size();) {
    std::size_t end = by_lines ? line_end(piece.bytes, at, piece.encoding) : std::string::npos;
    end = std::min(end, piece.bytes.size());
    const std::string raw = piece.bytes.substr(at, end - at);
    at = end;
    const auto text = to_utf8(raw, piece.encoding);
    if (!text) {
      refuse(piece, {RefusalReason::not_mine, text.error().what}, {0, raw, when, when});
      continue;
    }
    std::string line(by_lines || !config_.folder.whole ? without_end(*text) : std::string_view(*text));
    if (line.empty()) continue;
    auto events = decoder.feed(by_lines ? line + config_.dialect->framing.end : line, when);
    if (at == piece.bytes.size()) {
      for (auto& event : decoder.gap(when)) events.push_back(std::move(event));
    }
    // The record keeps what stood in the file.
    if (events.size() == 1) events.front().frame.bytes = raw;
    for (auto& event : events) take_event(std::move(event), piece, now);
  }
}

void FolderPort::refuse(const TakenPiece& piece, Refusal refusal, Frame frame) {
  refusal.detail += " (in " + piece.file + ")";
  const std::string gauge = config_.gauges.size() == 1 ? config_.gauges.front().id : std::string();
  recent_.refused(gauge, name(refusal.reason), refusal.detail, frame);
  around_.sink.refusal(config_.name, gauge, refusal, frame);
}

void FolderPort::take_event(DecodeEvent event, const TakenPiece& piece, const Stamp& now) {
  if (!running_) return;
  if (const Refusal* refusal = event.refusal()) return refuse(piece, *refusal, std::move(event.frame));
  carry_out(life_.heard(now.steady_ns));
  const Decoded& decoded = *event.decoded();
  const std::string channel = decoded.channel.value_or(std::string());
  const auto gauge = std::find_if(config_.gauges.begin(), config_.gauges.end(),
                                  [&](const auto& one) { return one.channel == channel; });
  if (gauge == config_.gauges.end()) {
    if (const auto told = recent_.unknown(channel, decoded, event.frame)) around_.sink.unknown_channel(*told);
    return;
  }
  Reading reading{gauge->id, config_.name, decoded, std::move(event.frame), cause_of(gauge->speaks)};
  recent_.reading(reading);
  around_.sink.reading(std::move(reading));
}

Done FolderPort::ask(std::string_view gauge) {
  const bool known = std::any_of(config_.gauges.begin(), config_.gauges.end(),
                                 [&](const auto& one) { return one.id == gauge; });
  const std::string where = "gauge " + std::string(gauge);
  if (!known) return fail("unknown_gauge", "port " + config_.name + " has no such gauge", where);
  return fail("not_asked", "it writes files by itself and cannot be asked", where, "measure with it");
}

PortStatus FolderPort::status() const {
  PortStatus out;
  const Stamp now = around_.clock.now();
  const auto utc = [&](std::int64_t steady_ns) { return now.utc_us - (now.steady_ns - steady_ns) / 1000; };
  out.port = config_.name;
  out.path = config_.path;
  out.node = life_.holds() ? config_.path : std::string();
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
  out.warnings = warnings_;
  out.attempts = static_cast<std::int64_t>(life_.attempts());
  out.losses = static_cast<std::int64_t>(life_.losses());
  if (life_.last_heard_ns()) out.last_heard_utc_us = utc(*life_.last_heard_ns());
  out.bytes = static_cast<std::int64_t>(taken_bytes_);
  return out;
}

}  // namespace tallystick::ports
