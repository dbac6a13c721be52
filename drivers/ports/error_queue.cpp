#include "drivers/ports/error_queue.hpp"

#include <charconv>

namespace tallystick::ports {
namespace {

constexpr std::size_t most_characters = 255;  // SCPI-99 volume 2, 21.8.8, from memory

std::string_view trimmed(std::string_view text) {
  const auto blank = [](char c) { return c == ' ' || c == '\r' || c == '\n' || c == '\t'; };
  while (!text.empty() && blank(text.front())) text.remove_prefix(1);
  while (!text.empty() && blank(text.back())) text.remove_suffix(1);
  return text;
}

}  // namespace

std::optional<QueuedError> read_queued_error(std::string_view line) {
  line = trimmed(line);
  QueuedError out;
  if (line.starts_with('+')) line.remove_prefix(1);
  const auto [end, error] = std::from_chars(line.data(), line.data() + line.size(), out.code);
  if (error != std::errc{}) return {};
  line.remove_prefix(static_cast<std::size_t>(end - line.data()));
  if (!line.starts_with(',')) return {};
  line = trimmed(line.substr(1));
  if (line.size() < 2 || line.front() != '"' || line.back() != '"') return {};
  line = line.substr(1, line.size() - 2);
  for (std::size_t at = 0; at < line.size() && out.text.size() < most_characters; ++at) {
    if (line[at] == '"' && (++at == line.size() || line[at] != '"')) return {};  // a quote inside stands twice
    out.text += line[at] >= ' ' && line[at] <= '~' ? line[at] : '?';
  }
  return out;
}

void ErrorQueue::begin(Asking::Request request, Error why) {
  request_ = std::move(request);
  why_ = std::move(why);
  entries_.clear();
  send_ = true;
  empty_ = false;
}

void ErrorQueue::sent(std::int64_t now) {
  send_ = false;
  sent_at_ = now;
}

bool ErrorQueue::line(std::string_view bytes, std::int64_t first_byte_ns, QueuedError& entry) {
  if (!active() || send_ || first_byte_ns < sent_at_) return false;
  const auto read = read_queued_error(bytes);
  if (!read) return false;
  entry = *read;
  if (entry.code == 0) {
    empty_ = true;
    return true;
  }
  entries_.push_back(std::to_string(entry.code) + " " + entry.text);
  empty_ = entries_.size() == most;
  send_ = !empty_;
  return true;
}

ErrorQueue::Told ErrorQueue::told() {
  Told out{*request_, why_};
  for (std::size_t n = 0; n < entries_.size(); ++n)
    out.why.what += (n == 0 ? "; its error queue says: " : ", ") + entries_[n];
  request_.reset();
  send_ = false;
  return out;
}

std::optional<ErrorQueue::Told> ErrorQueue::finished(std::int64_t now) {
  if (!active() || send_) return {};
  if (!empty_ && now < sent_at_ + timeout_ns_) return {};
  return told();
}

std::optional<ErrorQueue::Told> ErrorQueue::drop() {
  if (!active()) return {};
  return told();
}

std::optional<std::int64_t> ErrorQueue::wake_at() const {
  if (!active() || send_) return {};
  return sent_at_ + timeout_ns_;
}

}  // namespace tallystick::ports
