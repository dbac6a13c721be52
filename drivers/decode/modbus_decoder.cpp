#include "drivers/decode/modbus_decoder.hpp"

#include <algorithm>

#include "drivers/decode/modbus_value.hpp"

namespace tallystick::decode {
namespace {

constexpr std::size_t remembered_transactions = 16;
constexpr std::uint8_t exception_bit = 0x80;
constexpr std::size_t exception_frame = 5;  ///< RTU: unit address, function, code, CRC

std::uint8_t byte_at(std::string_view bytes, std::size_t at) {
  return static_cast<std::uint8_t>(bytes[at]);
}

bool is_header(std::string_view bytes) {
  const std::uint16_t length = word_at(bytes, 4);
  return word_at(bytes, 2) == 0 && length >= 3 && length <= longest_tcp_frame - tcp_header;
}

}  // namespace

ModbusDecoder::ModbusDecoder(std::shared_ptr<const Dialect> dialect)
    : dialect_(std::move(dialect)), tcp_(dialect_->modbus->over_tcp) {}

std::vector<DecodeEvent> ModbusDecoder::sent(std::string_view bytes, const Stamp& when) {
  silence();  // what came before the request does not answer it
  given_up();
  awaited_.reset();
  const auto request = tcp_ ? tcp_request(bytes) : rtu_request(bytes);
  for (std::size_t place = 0; request && place < map().registers.size(); ++place) {
    const auto& one = map().registers[place];
    if (static_cast<std::uint8_t>(one.function) == request->function && one.first() == request->address &&
        one.count() == request->count)
      awaited_ = Awaited{*request, place, std::string(bytes)};
  }
  last_activity_ = when;
  return taken();
}

/// What comes now for a request without a number is told late by its time alone (ports/asking.hpp).
void ModbusDecoder::given_up() {
  if (!tcp_ || !awaited_) return;
  earlier_.push_back(awaited_->request.transaction);
  if (earlier_.size() > remembered_transactions) earlier_.pop_front();
  awaited_.reset();
}

std::vector<DecodeEvent> ModbusDecoder::opened(const Stamp& when) {
  silence();
  awaited_.reset();
  earlier_.clear();
  last_activity_ = when;
  return taken();
}

std::vector<DecodeEvent> ModbusDecoder::feed(std::string_view bytes, const Stamp& when) {
  if (bytes.empty()) return {};
  if (last_activity_ && elapsed_ns(*last_activity_, when) >= dialect_->framing.give_up.count()) silence();
  for (; !bytes.empty(); bytes.remove_prefix(std::min(longest(), bytes.size()))) {
    const std::uint64_t at = offset_ + buffer_.size();
    if (wake_ups_.empty() || !(wake_ups_.back().second == when)) wake_ups_.emplace_back(at, when);
    buffer_.append(bytes.substr(0, longest()));
    cut();
  }
  last_activity_ = when;
  return taken();
}

std::vector<DecodeEvent> ModbusDecoder::poll(const Stamp& now) {
  if (last_activity_ && elapsed_ns(*last_activity_, now) >= dialect_->framing.give_up.count()) silence();
  return taken();
}

std::vector<DecodeEvent> ModbusDecoder::gap() {
  silence();
  return taken();
}

std::optional<std::int64_t> ModbusDecoder::next_poll_ns() const {
  if (buffer_.empty()) return {};
  return dialect_->framing.give_up.count();
}

void ModbusDecoder::cut() {
  if (tcp_)
    cut_tcp();
  else
    cut_rtu();
}

/// The reply that is waited for, from its first byte on. Anything else waits for the silence.
void ModbusDecoder::cut_rtu() {
  if (!spoilt_ && awaited_ && buffer_.starts_with(awaited_->bytes))
    emit(awaited_->bytes.size(),
         Refusal{RefusalReason::not_mine, "our own request came back: switch the adapter's echo off"});
  if (!spoilt_ && awaited_ && buffer_.size() >= 2 &&
      byte_at(buffer_, 0) == awaited_->request.unit_address) {
    const std::uint8_t function = awaited_->request.function;
    const bool declined = byte_at(buffer_, 1) == (function | exception_bit);
    const std::size_t size = declined ? exception_frame : 5 + awaited_->request.data_bytes();
    const std::string_view frame = std::string_view(buffer_).substr(0, size);
    const bool own = awaited_->bytes.starts_with(frame);  // an echo that is not whole yet
    if (!own && (declined || byte_at(buffer_, 1) == function) && frame.size() == size &&
        rtu_crc_holds(frame)) {
      auto result = answer(frame.substr(1, size - 3));
      spoilt_ = true;  // what follows without a silence is no frame
      emit(size, std::move(result));
    }
  }
  while (buffer_.size() >= longest_rtu_frame) {
    emit(longest_rtu_frame,
         Refusal{RefusalReason::too_long, "more bytes without a silence than a frame can have"});
    spoilt_ = true;
  }
}

void ModbusDecoder::cut_tcp() {
  while (buffer_.size() - garbage_ >= tcp_header) {
    if (!is_header(std::string_view(buffer_).substr(garbage_))) {
      if (++garbage_ == longest_tcp_frame) skip_garbage(garbage_);
      continue;
    }
    skip_garbage(garbage_);
    if (!cut_tcp_frame()) return;
  }
}

/// False: more bytes are needed.
bool ModbusDecoder::cut_tcp_frame() {
  const std::size_t size = tcp_header + word_at(buffer_, 4);
  if (buffer_.size() < size) return false;
  const std::string_view frame = std::string_view(buffer_).substr(0, size);
  const std::uint16_t transaction = word_at(frame, 0);
  if (awaited_ && transaction == awaited_->request.transaction &&
      byte_at(frame, tcp_header) == awaited_->request.unit_address) {
    auto result = answer(frame.substr(tcp_header + 1));
    emit(size, std::move(result));
  } else if (std::find(earlier_.begin(), earlier_.end(), transaction) != earlier_.end()) {
    emit(size, Refusal{RefusalReason::not_mine,
                       "it answers request " + std::to_string(transaction) + ", which was given up",
                       ReplyTo::earlier});
  } else {
    emit(size, Refusal{RefusalReason::not_mine, awaited_ ? "it answers another request" : "nothing was asked"});
  }
  return true;
}

/// A reply from its function on, of the right device. What is no whole answer leaves the request out.
std::variant<Decoded, Refusal> ModbusDecoder::answer(std::string_view pdu) {
  const auto& request = awaited_->request;
  const std::uint8_t function = byte_at(pdu, 0);
  if (function == (request.function | exception_bit) && pdu.size() == 2) return exception(byte_at(pdu, 1));
  if (function != request.function)
    return Refusal{RefusalReason::not_mine, "a reply of function " + std::to_string(function) + ", asked was " +
                                                std::to_string(request.function)};
  if (pdu.size() != 2 + request.data_bytes() || byte_at(pdu, 1) != request.data_bytes())
    return Refusal{RefusalReason::not_mine, "not as many registers as were asked for"};
  Decoded out;
  const std::size_t place = awaited_->place;
  out.channel = modbus_channel(map(), {request.unit_address, place});
  awaited_.reset();
  auto refusal = read_registers(map().registers[place], pdu.substr(2), out);
  if (!refusal) return out;
  refusal->reply_to = ReplyTo::present;
  return *std::move(refusal);
}

Refusal ModbusDecoder::exception(std::uint8_t code) {
  Refusal out{RefusalReason::declined, exception_words(code)};
  // A device that is busy may answer the next try.
  if (!exception_passes(code)) out.reply_to = ReplyTo::present;
  awaited_.reset();
  return out;
}

/// The line fell silent: what is in the buffer gets no more bytes.
void ModbusDecoder::silence() {
  if (!buffer_.empty()) {
    if (tcp_) {
      // Garbage comes out by itself: with the few bytes behind it, it may be longer than any frame.
      skip_garbage(garbage_);
      if (!buffer_.empty())
        emit(buffer_.size(), Refusal{RefusalReason::incomplete, "it stopped before its end"});
    } else {
      emit(buffer_.size(), why_no_reply(buffer_));
    }
  }
  garbage_ = 0;
  spoilt_ = false;
}

void ModbusDecoder::skip_garbage(std::size_t count) {
  if (count > 0) emit(count, Refusal{RefusalReason::not_mine, "bytes outside a frame"});
  garbage_ = 0;
}

Refusal ModbusDecoder::why_no_reply(std::string_view frame) const {
  if (spoilt_) return {RefusalReason::not_mine, "it follows other bytes without a silence"};
  if (!rtu_crc_holds(frame)) {
    const bool awaited = awaited_ && frame.size() < 5 + awaited_->request.data_bytes();
    if (awaited || frame.size() < 4) return {RefusalReason::incomplete, "the line fell silent before its end"};
    return {RefusalReason::bad_checksum, "its CRC does not hold"};
  }
  if (!awaited_) return {RefusalReason::not_mine, "nothing was asked"};
  const auto& request = awaited_->request;
  if (byte_at(frame, 0) != request.unit_address)
    return {RefusalReason::not_mine, "unit address " + std::to_string(byte_at(frame, 0)) +
                                         " speaks, asked was " + std::to_string(request.unit_address)};
  return {RefusalReason::not_mine, "not a reply to what was asked"};
}

void ModbusDecoder::emit(std::size_t count, std::variant<Decoded, Refusal> result) {
  const auto wake_up_of = [&](std::uint64_t at) {
    auto found = wake_ups_.begin();
    while (std::next(found) != wake_ups_.end() && std::next(found)->first <= at) ++found;
    return found;
  };
  DecodeEvent event{{}, std::move(result)};
  event.frame.offset = offset_;
  event.frame.bytes = buffer_.substr(0, count);
  event.frame.first = wake_up_of(offset_)->second;
  event.frame.last = wake_up_of(offset_ + count - 1)->second;
  offset_ += count;
  buffer_.erase(0, count);
  if (buffer_.empty())
    wake_ups_.clear();
  else
    wake_ups_.erase(wake_ups_.begin(), wake_up_of(offset_));
  out_.push_back(std::move(event));
}

}  // namespace tallystick::decode
