#include "drivers/learn/number_search.hpp"

#include <algorithm>

namespace tallystick::learn {

namespace {

constexpr std::size_t most_prefix = 4, most_suffix = 2;
constexpr int most_decimals = 9;

bool is_digit(char c) { return c >= '0' && c <= '9'; }

struct Run {
  std::size_t at = 0, size = 0;
};

/// The longest rows of digits and marks that begin and end with a digit.
std::vector<Run> runs_of(std::string_view body, char mark) {
  std::vector<Run> out;
  std::size_t i = 0;
  while (i < body.size()) {
    if (!is_digit(body[i])) {
      ++i;
      continue;
    }
    std::size_t end = i;
    while (end < body.size() && (is_digit(body[end]) || (mark != 0 && body[end] == mark))) ++end;
    std::size_t last = end;
    while (last > i && !is_digit(body[last - 1])) --last;
    out.push_back({i, last - i});
    i = end;
  }
  return out;
}

/// "1,5" with mark ',' as "1.5"; empty where it is no number.
std::string with_point(std::string_view text, char mark) {
  std::string out;
  int marks = 0;
  for (const char c : text) {
    if (mark != 0 && c == mark) ++marks;
    out += mark != 0 && c == mark ? '.' : c;
  }
  return marks <= 1 && !out.empty() && is_digit(out.front()) && is_digit(out.back()) ? out : std::string();
}

/// Digits of an exponent behind a number, with its letter; 0: there is none.
std::size_t exponent_behind(std::string_view body, std::size_t at, int& exponent) {
  std::size_t i = at;
  if (i >= body.size() || (body[i] != 'E' && body[i] != 'e')) return 0;
  ++i;
  bool minus = false;
  if (i < body.size() && (body[i] == '+' || body[i] == '-')) minus = body[i++] == '-';
  int value = 0;
  std::size_t digits = 0;
  for (; i < body.size() && is_digit(body[i]) && digits < 3; ++i, ++digits)
    value = value * 10 + (body[i] - '0');
  exponent = minus ? -value : value;
  return digits > 0 ? i - at : 0;
}

}  // namespace

std::string moved(std::string_view digits, int places) {
  std::string out(digits);
  auto point = out.find('.');
  if (point == std::string::npos)
    point = out.size();
  else
    out.erase(point, 1);
  auto to = static_cast<std::ptrdiff_t>(point) + places;
  for (; to <= 0; ++to) out.insert(out.begin(), '0');
  while (static_cast<std::size_t>(to) > out.size()) out += '0';
  if (static_cast<std::size_t>(to) < out.size()) out.insert(static_cast<std::size_t>(to), 1, '.');
  return plain_digits(out);
}

std::map<NumberKey, NumberPlace> numbers_in(std::string_view body, const Shown& shown) {
  std::map<NumberKey, NumberPlace> out;
  const std::string wanted = plain_digits(shown.digits);
  for (const char mark : {'.', ',', '\0'}) {
    const auto runs = runs_of(body, mark);
    for (std::size_t run = 0; run < runs.size(); ++run) {
      const auto [at, size] = runs[run];
      for (std::size_t prefix = 0; prefix <= most_prefix && prefix < size; ++prefix) {
        for (std::size_t suffix = 0; suffix <= most_suffix && prefix + suffix < size; ++suffix) {
          const std::string text = with_point(body.substr(at + prefix, size - prefix - suffix), mark);
          if (text.empty()) continue;
          NumberKey key{mark, false, run, prefix, suffix};
          NumberPlace place{at + prefix, size - prefix - suffix, {}};
          int exponent = 0;
          const std::size_t behind = suffix == 0 ? exponent_behind(body, at + size, exponent) : 0;
          if (mark != 0 && behind > 0) {
            key.exponent = true;
            place.size += behind;
            if (moved(text, exponent) == wanted) out.emplace(key, place);
          } else if (mark != 0) {
            if (plain_digits(text) == wanted) out.emplace(key, place);
          } else {
            for (int decimals = 1; decimals <= most_decimals; ++decimals) {
              if (moved(text, -decimals) == wanted) place.decimals.insert(decimals);
            }
            if (!place.decimals.empty()) out.emplace(key, place);
          }
        }
      }
    }
  }
  return out;
}

}  // namespace tallystick::learn
