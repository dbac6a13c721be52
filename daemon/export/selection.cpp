#include "daemon/export/selection.hpp"

#include <chrono>

#include "daemon/measure/stamp.hpp"

namespace tallystick::exporting {
namespace {

constexpr std::string_view known =
    "lot, part, serial, walk, feature, kind, gauge, verdict, from, to, after, until, as_of_now, suspect";

// Takes `count` digits off the front; -1: they are not there.
int take_digits(std::string_view& text, std::size_t count) {
  if (text.size() < count) return -1;
  int value = 0;
  for (const char letter : text.substr(0, count)) {
    if (letter < '0' || letter > '9') return -1;
    value = value * 10 + (letter - '0');
  }
  text.remove_prefix(count);
  return value;
}

bool take(std::string_view& text, char letter) {
  if (!text.starts_with(letter)) return false;
  text.remove_prefix(1);
  return true;
}

// Reads "T07:31[:05[.123456]]" in microseconds; -1: it is not one.
std::int64_t take_time(std::string_view& text) {
  if (!take(text, 'T') && !take(text, 't')) return -1;
  const int hour = take_digits(text, 2);
  if (!take(text, ':')) return -1;
  const int minute = take_digits(text, 2);
  if (hour < 0 || hour > 23 || minute < 0 || minute > 59) return -1;
  std::int64_t micros = 0;
  if (take(text, ':')) {
    const int second = take_digits(text, 2);
    if (second < 0 || second > 59) return -1;
    micros = second * std::int64_t{1'000'000};
    if (take(text, '.')) {
      std::size_t digits = 0;
      for (std::int64_t unit = 100'000; unit > 0; unit /= 10, ++digits) {
        const int digit = take_digits(text, 1);
        if (digit < 0) break;
        micros += digit * unit;
      }
      if (digits == 0) return -1;
    }
  }
  return (hour * std::int64_t{60} + minute) * 60'000'000 + micros;
}

// Reads "Z" or "+01:00" as microseconds to subtract; false: it is none.
bool take_zone(std::string_view& text, std::int64_t& offset) {
  offset = 0;
  if (take(text, 'Z') || take(text, 'z')) return true;
  const bool behind = text.starts_with('-');
  if (!take(text, '+') && !take(text, '-')) return false;
  const int hours = take_digits(text, 2);
  if (!take(text, ':')) return false;
  const int minutes = take_digits(text, 2);
  if (hours < 0 || hours > 23 || minutes < 0 || minutes > 59) return false;
  offset = (hours * std::int64_t{60} + minutes) * 60'000'000;
  if (behind) offset = -offset;
  return true;
}

Done take_flag(const std::string& name, const std::string& value, bool& out) {
  if (value == "true" || value == "1" || value.empty()) {
    out = true;
  } else if (value == "false" || value == "0") {
    out = false;
  } else {
    return fail("wrong_parameter", "expected true or false, found " + tallystick::quoted(value), name);
  }
  return {};
}

Done take_kind(const std::string& value, std::string& out) {
  for (const std::string_view kind : {"result", "mark", "correction", "disposition", "release"}) {
    if (value == kind) {
      out = value;
      return {};
    }
  }
  return fail("wrong_parameter", "there is no kind of fact " + tallystick::quoted(value), "kind",
              "result, mark, correction, disposition or release");
}

Done take_verdict(const std::string& value, std::string& out) {
  for (const std::string_view verdict : {"accept", "reject", "undecided", "suspect", "cleared"}) {
    if (value == verdict) {
      out = value;
      return {};
    }
  }
  return fail("wrong_parameter", "there is no verdict " + tallystick::quoted(value), "verdict",
              "accept, reject, undecided; of marks suspect, cleared");
}

Done take_instant(const std::string& name, const std::string& value, std::string& out) {
  auto instant = instant_from(value);
  if (!instant) {
    auto error = instant.error();
    error.where = name;
    return tl::unexpected(std::move(error));
  }
  out = std::move(*instant);
  return {};
}

Done take_cursor(const std::string& name, const std::string& value, record::Cursor& out) {
  auto cursor = record::cursor_from(value);
  if (!cursor) {
    auto error = cursor.error();
    if (error.where.empty()) error.where = name;
    return tl::unexpected(std::move(error));
  }
  out = std::move(*cursor);
  return {};
}

void take_key_or_name(const std::string& value, std::string& key, std::string& name) {
  (key_from(value) ? key : name) = value;
}

/// A part's key is an event's, with ".<serial>" behind it where that event began several.
bool is_part_key(const std::string& value) {
  const auto dot = value.rfind('.');
  const auto digits = dot == std::string::npos ? std::string() : value.substr(dot + 1);
  const bool slot = !digits.empty() && digits.find_first_not_of("0123456789") == std::string::npos;
  return key_from(slot ? value.substr(0, dot) : value).has_value();
}

Done take_parameter(const std::string& name, const std::string& value, Selection& out) {
  auto& filter = out.filter;
  if (name == "lot") return take_key_or_name(value, filter.lot, filter.lot_name), Done{};
  if (name == "part") return (is_part_key(value) ? filter.part : filter.serial) = value, Done{};
  if (name == "serial") return filter.serial = value, Done{};
  if (name == "walk") return filter.walk = value, Done{};
  if (name == "feature") return filter.feature = value, Done{};
  if (name == "gauge") return filter.gauge = value, Done{};
  if (name == "kind") return take_kind(value, filter.kind);
  if (name == "verdict") return take_verdict(value, filter.verdict);
  if (name == "from") return take_instant(name, value, filter.from_utc);
  if (name == "to") return take_instant(name, value, filter.to_utc);
  if (name == "after") return take_cursor(name, value, out.after);
  if (name == "until") {
    record::Cursor checked;
    out.until = value;
    return take_cursor(name, value, checked);
  }
  if (name == "suspect") return take_flag(name, value, filter.suspect);
  if (name == "as_of_now") {
    bool wanted = false;
    auto done = take_flag(name, value, wanted);
    out.view = wanted ? record::View::as_of_now : record::View::all;
    return done;
  }
  return fail("unknown_parameter", "there is no parameter " + tallystick::quoted(name), name,
              "there are " + std::string(known));
}

}  // namespace

Expected<std::string> instant_from(std::string_view text) {
  const auto wrong = [written = std::string(text)](const char* hint) {
    return fail("wrong_parameter", "expected an instant, found " + tallystick::quoted(written), {}, hint);
  };
  constexpr const char* forms = "write 2026-11-25 or 2026-11-25T07:31:05Z";
  const int year = take_digits(text, 4);
  if (!take(text, '-')) return wrong(forms);
  const int month = take_digits(text, 2);
  if (!take(text, '-')) return wrong(forms);
  const int day = take_digits(text, 2);
  if (year < 1970 || month < 0 || day < 0) return wrong(forms);
  const std::chrono::year_month_day date{std::chrono::year(year),
                                         std::chrono::month(static_cast<unsigned>(month)),
                                         std::chrono::day(static_cast<unsigned>(day))};
  if (!date.ok()) return wrong("the calendar has no such day");
  std::int64_t micros = std::chrono::sys_days(date).time_since_epoch().count() * std::int64_t{86'400'000'000};
  if (!text.empty()) {
    const auto time = take_time(text);
    if (time < 0) return wrong(forms);
    std::int64_t offset = 0;
    if (text.empty()) return wrong("say which zone: end with Z, or with an offset such as +01:00");
    if (!take_zone(text, offset) || !text.empty()) return wrong(forms);
    micros += time - offset;
  }
  return utc_text(micros);
}

Expected<Selection> selection_from(const std::map<std::string, std::string>& parameters) {
  Selection out;
  for (const auto& [name, value] : parameters)
    if (auto done = take_parameter(name, value, out); !done) return tl::unexpected(done.error());
  return out;
}

}  // namespace tallystick::exporting
