#include "drivers/decode/replay_log.hpp"

#include <boost/json.hpp>
#include <charconv>

#include "drivers/decode/modbus_map.hpp"

namespace tallystick {

namespace {

int hex_digit(char c) {
  if (c >= '0' && c <= '9') return c - '0';
  if (c >= 'a' && c <= 'f') return c - 'a' + 10;
  if (c >= 'A' && c <= 'F') return c - 'A' + 10;
  return -1;
}

std::string_view trimmed(std::string_view text) {
  const auto from = text.find_first_not_of(" \t\r");
  if (from == std::string_view::npos) return {};
  return text.substr(from, text.find_last_not_of(" \t\r") - from + 1);
}

std::string_view take_word(std::string_view& line) {
  line = trimmed(line);
  const auto end = std::min(line.find_first_of(" \t"), line.size());
  const auto word = line.substr(0, end);
  line.remove_prefix(end);
  return word;
}

class LogReader {
 public:
  LogReader(std::string_view text, std::string_view file) : rest_(text), file_(file) {}

  tl::expected<ReplayLog, Faults> read() {
    bool body = false;
    while (!rest_.empty()) {
      const auto end = rest_.find('\n');
      const std::string_view line = trimmed(rest_.substr(0, end));
      rest_.remove_prefix(end == std::string_view::npos ? rest_.size() : end + 1);
      ++line_;
      if (!line.empty() && line.front() == '#') continue;
      if (!body && line.empty())
        body = true;
      else if (!body)
        header(line);
      else if (!line.empty())
        record(line);
    }
    for (const auto& [key, value] : {std::pair{"dialect", &log_.dialect},
                                     {"port", &log_.port},
                                     {"shown", &log_.shown},
                                     {"date", &log_.date},
                                     {"source", &log_.source}}) {
      if (value->empty())
        fault(std::string("the header has no \"") + key + "\"",
              std::string("write ") + key + ": ... above the empty line");
    }
    if (!log_.source.empty() && log_.source != "invented" && log_.source != "recorded") {
      fault("source is \"" + log_.source + "\"", "write invented or recorded");
    }
    if (!faults_.empty()) return tl::unexpected(std::move(faults_));
    return std::move(log_);
  }

 private:
  void header(std::string_view line) {
    const auto colon = line.find(':');
    const std::string_view key = line.substr(0, colon);
    std::string* const place = key == "dialect"  ? &log_.dialect
                               : key == "port"   ? &log_.port
                               : key == "shown"  ? &log_.shown
                               : key == "date"   ? &log_.date
                               : key == "source" ? &log_.source
                               : key == "note"   ? &log_.note
                                                 : nullptr;
    if (colon == std::string_view::npos || place == nullptr) {
      fault("no header line: \"" + std::string(line.substr(0, 40)) + "\"",
            "the keys are dialect, port, shown, date, source and note; an empty line ends the header");
      return;
    }
    *place = std::string(trimmed(line.substr(colon + 1)));
  }

  void record(std::string_view line) {
    ReplayRecord record;
    const auto time = take_word(line);
    const auto [end, error] = std::from_chars(time.data(), time.data() + time.size(), record.at_us);
    if (error != std::errc{} || end != time.data() + time.size() || record.at_us < 0 ||
        record.at_us > last_us) {
      return fault("\"" + std::string(time.substr(0, 40)) + "\" is no time",
                   "write microseconds as a whole number");
    }
    if (!log_.records.empty() && record.at_us < log_.records.back().at_us) {
      return fault("the time goes back", "the microseconds of a log never become less");
    }
    const auto word = take_word(line);
    if (word == "open") {
      record.kind = ReplayRecord::Kind::opened;
      if (!trimmed(line).empty()) return fault("something stands behind open", "leave it out");
    } else if (word == "rx" || word == "tx") {
      if (word == "tx") record.kind = ReplayRecord::Kind::sent;
      const auto bytes = bytes_of_hex(line);
      if (!bytes || bytes->empty())
        return fault("no hex bytes behind " + std::string(word), "write two digits a byte");
      record.bytes = *bytes;
    } else {
      return fault("\"" + std::string(word.substr(0, 40)) + "\" is none of rx, tx and open",
                   "write one of them behind the time");
    }
    log_.records.push_back(std::move(record));
  }

  void fault(std::string what, std::string hint) {
    faults_.push_back(
        {"bad_replay_log", std::move(what), file_ + ":" + std::to_string(line_), std::move(hint)});
  }

  static constexpr std::int64_t last_us = 1'000'000'000'000'000;  // a stamp counts nanoseconds
  std::string_view rest_;
  std::string file_;
  int line_ = 0;
  ReplayLog log_;
  Faults faults_;
};

}  // namespace

tl::expected<ReplayLog, Faults> read_replay_log(std::string_view text, std::string_view file) {
  return LogReader(text, file).read();
}

Stamp replay_stamp(std::int64_t at_us) {
  Stamp stamp;
  stamp.utc_us = at_us;
  stamp.steady_ns = at_us * 1000;
  stamp.boot = "replay";
  return stamp;
}

std::vector<DecodeEvent> replay(const ReplayLog& log, std::shared_ptr<const Dialect> dialect) {
  if (dialect->modbus && log.port == "tcp") dialect = modbus_over_tcp(dialect);
  Decoder decoder(std::move(dialect));
  std::vector<DecodeEvent> events;
  const auto take = [&](std::vector<DecodeEvent> more) {
    events.insert(events.end(), std::make_move_iterator(more.begin()), std::make_move_iterator(more.end()));
  };
  std::int64_t last_us = 0;
  for (const auto& record : log.records) {
    last_us = record.at_us;
    if (record.kind == ReplayRecord::Kind::opened) take(decoder.opened(replay_stamp(record.at_us)));
    if (record.kind == ReplayRecord::Kind::sent)
      take(decoder.sent(record.bytes, replay_stamp(record.at_us)));
    if (record.kind == ReplayRecord::Kind::received)
      take(decoder.feed(record.bytes, replay_stamp(record.at_us)));
  }
  take(decoder.gap(replay_stamp(last_us)));
  return events;
}

std::string hex_text(std::string_view bytes) {
  static constexpr char digits[] = "0123456789abcdef";
  std::string out;
  out.reserve(2 * bytes.size());
  for (const char c : bytes) {
    out += digits[static_cast<unsigned char>(c) >> 4U];
    out += digits[static_cast<unsigned char>(c) & 0xFU];
  }
  return out;
}

std::optional<std::string> bytes_of_hex(std::string_view text) {
  std::string out;
  int high = -1;
  for (const char c : text) {
    if (high < 0 && (c == ' ' || c == '\t' || c == '\n' || c == '\r')) continue;
    const int digit = hex_digit(c);
    if (digit < 0) return std::nullopt;
    if (high >= 0) out += static_cast<char>(high * 16 + digit);
    high = high < 0 ? digit : -1;
  }
  if (high >= 0) return std::nullopt;
  return out;
}

std::string json_line(const DecodeEvent& event) {
  boost::json::object line;
  if (const Decoded* const decoded = event.decoded()) {
    line["kind"] = "reading";
    line["value"] = decoded->value_text;
    line["unit"] = decoded->quantity.unit().name();
    if (decoded->channel)
      line["channel"] = *decoded->channel;
    else
      line["channel"] = nullptr;
    line["status"] = name(decoded->status);
  } else {
    line["kind"] = "refusal";
    line["reason"] = name(event.refusal()->reason);
  }
  line["offset"] = event.frame.offset;
  line["bytes"] = hex_text(event.frame.bytes);
  return boost::json::serialize(line);
}

}  // namespace tallystick
