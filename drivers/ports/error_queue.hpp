// What an instrument has to say when its reply was missing or wrong: its error queue, in the shape of
// IEEE 488.2 and SCPI-99 ("SYSTem:ERRor?" answers `-113,"Undefined header"`, `0,"No error"` when it is empty).
// The query is sent until the queue is empty, so that an old error is not told of the next request. Pure: told
// the time, it says what to send.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "drivers/ports/asking.hpp"

namespace tallystick::ports {

/// One entry of a queue. Nothing: `line` is none. The text is printable and at most 255 characters.
struct QueuedError {
  int code = 0;  ///< 0: the queue is empty
  std::string text;
};
std::optional<QueuedError> read_queued_error(std::string_view line);

/// All times are steady nanoseconds of the clock that stamps the frames.
class ErrorQueue {
 public:
  static constexpr std::size_t most = 10;  ///< entries that are asked for, then it is left

  struct Told {
    Asking::Request request;
    Error why;  ///< of the missing or wrong reply, with the queue's entries in its words
  };

  explicit ErrorQueue(std::int64_t reply_timeout_ns) : timeout_ns_(reply_timeout_ns) {}

  /// `request` got no reply, or a wrong one: `why`. From now on until `finished` nothing else may be asked.
  void begin(Asking::Request request, Error why);
  bool active() const { return request_.has_value(); }
  std::string gauge() const { return request_ ? request_->gauge : std::string(); }
  bool wants_to_send() const { return active() && send_; }
  void sent(std::int64_t now);

  /// A whole line. True: it is an entry of the queue, or its end. False: something else.
  bool line(std::string_view bytes, std::int64_t first_byte_ns, QueuedError& entry);
  /// What to tell, once: the queue is empty, was given up, or did not answer.
  std::optional<Told> finished(std::int64_t now);
  /// The port went away.
  std::optional<Told> drop();
  std::optional<std::int64_t> wake_at() const;

 private:
  Told told();

  std::int64_t timeout_ns_;
  std::optional<Asking::Request> request_;
  Error why_;
  std::vector<std::string> entries_;
  bool send_ = false, empty_ = false;
  std::int64_t sent_at_ = 0;
};

}  // namespace tallystick::ports
