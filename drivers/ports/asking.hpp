// Asking gauges that speak only when asked: one request at a time on a port, a time-out, retries, and no
// answer that could belong to an earlier request. Pure: told the time, it says what to send.
#pragma once

#include <cstdint>
#include <deque>
#include <optional>
#include <string>
#include <string_view>

#include "daemon/measure/error.hpp"
#include "drivers/decode/reading.hpp"

namespace tallystick::ports {

/// All times are steady nanoseconds of the clock that stamps the frames.
///
/// A frame is a reply only while a request is outstanding, and only if it is of that gauge and its first byte
/// came after the request was sent. After a request that was repeated or given up, the line is left alone for
/// one more time-out: what comes then is late, counted, and never taken for the answer to the next request.
class Asking {
 public:
  struct Rules {
    std::int64_t reply_timeout_ns = 500'000'000;
    int retries = 1;         ///< further tries after the first
    std::size_t queue = 64;  ///< requests that may wait
  };
  struct Request {
    std::string gauge;
    bool by_person = true;
  };
  enum class Verdict : std::uint8_t { reply, late, unsolicited };
  struct GivenUp {
    Request request;
    int tries = 0;
  };

  explicit Asking(Rules rules) : rules_(rules) {}

  /// Queues a request; a person's goes before the timer's. Errors: "already_asked" (a person's request of
  /// this gauge waits or is outstanding), "too_many_requests". A timer's request of a gauge that is already
  /// asked is dropped silently: its sample will come anyway.
  Done ask(const std::string& gauge, bool by_person, std::int64_t now);
  /// The request that is to be sent now, if any. Call after every other call; after it, `sent` or
  /// `write_failed`.
  std::optional<Request> to_send(std::int64_t now);
  void sent(std::int64_t now);

  /// What a whole good frame of `gauge` is. On `reply`, `answered()` is the request that it answers.
  Verdict frame(const std::string& gauge, std::int64_t first_byte_ns, std::int64_t now);
  const Request& answered() const { return answered_; }

  /// Call at `wake_at()`. Returns the request that was given up, if one was.
  std::optional<GivenUp> tick(std::int64_t now);
  std::optional<std::int64_t> wake_at() const;
  /// The port went away: everything is forgotten. Returns what a person was waiting for.
  std::deque<Request> drop_all();

  /// The outstanding request was answered, but with no value: it is done, and
  /// returned. Nothing where no request was out when the frame began.
  std::optional<Request> declined(std::int64_t first_byte_ns, std::int64_t now);
  /// The line was just opened, and may still bring an answer to an earlier opening's request: it is left alone
  /// for one time-out.
  void leave_alone(std::int64_t now);

  bool outstanding() const { return current_.has_value(); }
  /// The gauge whose answer is waited for.
  std::optional<std::string> asked_of() const;
  /// `to_send` would return a request.
  bool wants_to_send(std::int64_t now) const {
    return send_ || (!current_ && !waiting_.empty() && now >= quiet_until_);
  }

 private:
  Rules rules_;
  std::deque<Request> waiting_;
  std::optional<Request> current_;
  Request answered_;
  bool send_ = false;  ///< `current_` is to be written
  int tries_ = 0;
  std::int64_t sent_at_ = 0;
  std::int64_t deadline_ = 0;
  std::int64_t quiet_until_ = 0;  ///< nothing is sent before; frames until then are late
  bool stray_possible_ = false;
};

}  // namespace tallystick::ports
