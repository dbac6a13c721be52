#include "drivers/learn/heard.hpp"

#include <algorithm>
#include <charconv>

namespace tallystick::learn {

namespace {

/// A button's frame may come in several pieces, but a person does not press twice within this time.
constexpr std::int64_t presses_apart_us = 250'000;

std::string_view trimmed(std::string_view text) {
  const auto from = text.find_first_not_of(" \t\r");
  if (from == std::string_view::npos) return {};
  return text.substr(from, text.find_last_not_of(" \t\r") - from + 1);
}

std::vector<std::string> words_of(std::string_view text) {
  std::vector<std::string> out;
  while (!(text = trimmed(text)).empty()) {
    const auto end = std::min(text.find_first_of(" \t"), text.size());
    out.emplace_back(text.substr(0, end));
    text.remove_prefix(end);
  }
  return out;
}

bool is_digit(char c) { return c >= '0' && c <= '9'; }

std::optional<GaugeStatus> status_named(std::string_view word) {
  for (const auto status : {GaugeStatus::ok, GaugeStatus::low_battery, GaugeStatus::over_range,
                            GaugeStatus::under_range, GaugeStatus::error}) {
    if (name(status) == word) return status;
  }
  return std::nullopt;
}

/// Takes "+12,5" apart. False: it is no number.
bool take_number(std::string_view word, Shown& shown) {
  if (!word.empty() && (word.front() == '+' || word.front() == '-')) {
    shown.negative = word.front() == '-';
    word.remove_prefix(1);
  }
  std::string digits;
  int marks = 0;
  for (const char c : word) {
    if (c == '.' || c == ',')
      ++marks;
    else if (!is_digit(c))
      return false;
    digits += c == ',' ? '.' : c;
  }
  if (digits.empty() || marks > 1 || !is_digit(digits.back()) || digits.size() > 30) return false;
  if (digits.front() == '.') digits.insert(digits.begin(), '0');
  shown.digits = digits;
  return true;
}

Error not_shown(std::string_view text) {
  return {"not_shown",
          "\"" + std::string(text) + "\" is no number with a unit",
          {},
          "write what the display shows, for instance: -12.345 mm   (or over_range, low_battery behind it, "
          "or \"2:\" "
          "in front for channel 2)"};
}

}  // namespace

std::string plain_digits(std::string_view digits) {
  std::string out(digits);
  if (out.find('.') != std::string::npos) {
    while (out.back() == '0') out.pop_back();
    if (out.back() == '.') out.pop_back();
  }
  const auto first = out.find_first_not_of('0');
  if (first == std::string::npos) return "0";
  out.erase(0, out[first] == '.' ? first - (first > 0 ? 1 : 0) : first);
  if (out.front() == '.') out.insert(out.begin(), '0');
  return out;
}

bool Shown::zero() const { return has_number() && plain_digits(digits) == "0"; }

Expected<Shown> read_shown(std::string_view text) {
  Shown shown;
  auto words = words_of(text);
  if (!words.empty() && words.front().size() > 1 && words.front().back() == ':') {
    shown.channel = words.front().substr(0, words.front().size() - 1);
    words.erase(words.begin());
  }
  for (const auto& word : words) {
    if (!shown.has_number() && !shown.unit && take_number(word, shown)) continue;
    if (const auto status = status_named(word); status && !shown.status) {
      shown.status = status;
    } else if (const auto unit = Unit::named(word); unit && !shown.unit) {
      shown.unit = *unit;
    } else {
      return tl::unexpected(not_shown(text));
    }
  }
  const bool usable = shown.has_number() || (shown.status && *shown.status != GaugeStatus::ok);
  if (!usable) return tl::unexpected(not_shown(text));
  return shown;
}

std::string Press::bytes() const {
  std::string out;
  for (const auto& record : heard) out += record.bytes;
  return out;
}

std::string settings_text(const PortSettings& line) {
  static constexpr std::string_view parities = "NEOMS";
  return std::to_string(line.baud) + " " + std::to_string(line.data_bits) +
         parities[static_cast<std::size_t>(line.parity)] + std::to_string(line.stop_bits);
}

std::optional<PortSettings> settings_of(std::string_view text) {
  const auto words = words_of(text);
  if (words.size() != 2 || words[1].size() != 3) return std::nullopt;
  PortSettings line;
  const auto [end, error] = std::from_chars(words[0].data(), words[0].data() + words[0].size(), line.baud);
  static constexpr std::string_view parities = "NEOMS";
  const auto parity = parities.find(words[1][1]);
  line.data_bits = words[1][0] - '0';
  line.stop_bits = words[1][2] - '0';
  if (error != std::errc{} || end != words[0].data() + words[0].size() || line.baud < 50 ||
      line.baud > 4'000'000 || parity == std::string_view::npos || line.data_bits < 5 || line.data_bits > 8 ||
      line.stop_bits < 1 || line.stop_bits > 2)
    return std::nullopt;
  line.parity = static_cast<Parity>(parity);
  return line;
}

namespace {

/// Bytes with silences between them, each piece a press.
std::vector<Press> by_silence(const ReplayLog& log, const PortSettings& line) {
  std::vector<Press> out;
  std::int64_t last_us = 0;
  for (const auto& record : log.records) {
    if (record.kind != ReplayRecord::Kind::received || record.bytes.empty()) continue;
    if (out.empty() || record.at_us - last_us >= presses_apart_us) out.push_back({line, {}, {}, {}});
    out.back().heard.push_back(record);
    last_us = record.at_us;
  }
  return out;
}

tl::expected<Recording, Faults> of_replay_log(std::string_view text, std::string_view file) {
  const auto log = read_replay_log(text, file);
  if (!log) return tl::unexpected(log.error());
  const auto line = settings_of(log->port);
  if (!line)
    return tl::unexpected(
        Faults{{"bad_replay_log", "port is \"" + log->port + "\"", std::string(file),
                "write the settings that it was recorded with, for instance port: 9600 8N1"}});
  Recording out;
  out.presses = by_silence(*log, *line);
  std::vector<std::string> values;
  std::string_view rest = log->shown;
  while (!rest.empty()) {
    const auto end = std::min(rest.find(", "), rest.size());
    values.emplace_back(trimmed(rest.substr(0, end)));
    rest.remove_prefix(std::min(end + 2, rest.size()));
  }
  bool all = values.size() == out.presses.size();
  for (std::size_t i = 0; all && i < values.size(); ++i) {
    const auto shown = read_shown(values[i]);
    if (shown)
      out.presses[i].shown = *shown, out.presses[i].shown_text = values[i];
    else
      all = false;
  }
  if (!all) {
    for (auto& press : out.presses) press.shown.reset(), press.shown_text.clear();
    out.note = "the log's \"shown\" does not give one number with a unit for each press, so it was left out";
  }
  return out;
}

class HeardReader {
 public:
  HeardReader(std::string_view text, std::string_view file) : rest_(text), file_(file) {}

  tl::expected<Recording, Faults> read() {
    while (!rest_.empty()) {
      const auto end = std::min(rest_.find('\n'), rest_.size());
      const std::string_view line = trimmed(rest_.substr(0, end));
      rest_.remove_prefix(std::min(end + 1, rest_.size()));
      ++number_;
      if (!line.empty() && line.front() != '#') take(line);
    }
    close({}, {});
    if (!faults_.empty()) return tl::unexpected(std::move(faults_));
    return std::move(out_);
  }

 private:
  void take(std::string_view line) {
    const auto words = words_of(line);
    const std::string_view rest = trimmed(line.substr(words.front().size()));
    if (words.front() == "line") {
      close({}, {});
      if (const auto settings = settings_of(rest))
        line_ = *settings;
      else
        fault("line \"" + std::string(rest) + "\" is no line setting", "write for instance: line 9600 8N1");
    } else if (words.front() == "shown") {
      if (auto shown = read_shown(rest))
        close(*shown, std::string(rest));
      else
        fault(shown.error().what, shown.error().hint);
    } else if (words.front() == "press" && words.size() == 1) {
      close({}, {});
    } else if (words.size() >= 2 && words[1] == "open") {
      return;
    } else {
      bytes(line, words);
    }
  }

  void bytes(std::string_view line, const std::vector<std::string>& words) {
    ReplayRecord record;
    const auto [end, error] =
        std::from_chars(words[0].data(), words[0].data() + words[0].size(), record.at_us);
    const bool time = error == std::errc{} && end == words[0].data() + words[0].size();
    const auto hex = words.size() > 2 && words[1] == "rx"
                         ? bytes_of_hex(trimmed(line.substr(line.find("rx") + 2)))
                         : std::nullopt;
    if (!time || !hex || record.at_us < last_us_) {
      fault("\"" + std::string(line.substr(0, 40)) + "\" is none of line, rx, shown, press, open",
            "write for instance: 1000000 rx 2b3031322e3334350d; times never go back");
      return;
    }
    record.bytes = *hex;
    last_us_ = record.at_us;
    heard_.push_back(std::move(record));
  }

  void close(std::optional<Shown> shown, std::string text) {
    if (heard_.empty()) {
      if (shown) fault("a shown without bytes before it", "leave it out, or press again");
      return;
    }
    out_.presses.push_back({line_, std::exchange(heard_, {}), std::move(shown), std::move(text)});
  }

  void fault(std::string what, std::string hint) {
    faults_.push_back(
        {"bad_heard_log", std::move(what), file_ + ":" + std::to_string(number_), std::move(hint)});
  }

  std::string_view rest_;
  std::string file_;
  int number_ = 0;
  std::int64_t last_us_ = 0;
  PortSettings line_;
  std::vector<ReplayRecord> heard_;
  Recording out_;
  Faults faults_;
};

}  // namespace

tl::expected<Recording, Faults> read_recording(std::string_view text, std::string_view file) {
  std::string_view rest = text;
  while (!rest.empty()) {
    const auto end = std::min(rest.find('\n'), rest.size());
    const std::string_view line = trimmed(rest.substr(0, end));
    rest.remove_prefix(std::min(end + 1, rest.size()));
    if (line.empty() || line.front() == '#') continue;
    if (line.starts_with("dialect:") || line.starts_with("port:")) return of_replay_log(text, file);
    break;
  }
  return HeardReader(text, file).read();
}

std::string recording_text(const Recording& recording) {
  std::string out =
      "# Bytes heard on a port while its gauge was learned. tallystick gauge learn --log reads it.\n";
  std::string line;
  for (const auto& press : recording.presses) {
    if (settings_text(press.line) != line) {
      line = settings_text(press.line);
      out += "line " + line + "\n";
    }
    for (const auto& record : press.heard)
      out += std::to_string(record.at_us) + " rx " + hex_text(record.bytes) + "\n";
    out += press.shown ? "shown " + press.shown_text + "\n" : "press\n";
  }
  return out;
}

std::string replay_log_text(const std::vector<Press>& presses, std::string_view dialect,
                            const PortSettings& line, std::string_view date) {
  std::string shown, body;
  for (const auto& press : presses) {
    if (!shown.empty()) shown += ", ";
    shown += press.shown ? press.shown_text : "not told";
    for (const auto& record : press.heard)
      body += std::to_string(record.at_us) + " rx " + hex_text(record.bytes) + "\n";
  }
  return "dialect: " + std::string(dialect) + "\nport: " + settings_text(line) + "\nshown: " + shown +
         "\ndate: " + std::string(date) + "\nsource: recorded\nnote: heard while the gauge was learned\n\n" +
         body;
}

}  // namespace tallystick::learn
