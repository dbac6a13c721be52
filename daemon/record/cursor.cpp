#include "daemon/record/cursor.hpp"

#include <charconv>

namespace tallystick::record {

namespace {
constexpr std::string_view prefix = "c1-";

tl::unexpected<Error> not_a_cursor(std::string_view text) {
  return fail("not_a_cursor", "\"" + std::string(text.substr(0, 80)) + "\" is not a cursor of this record",
              "cursor",
              "hand back the cursor of the last answer as it was, or none to begin at the beginning");
}
}  // namespace

std::string text(const Cursor& cursor) {
  if (cursor.at_beginning()) return {};
  return std::string(prefix) + tallystick::text(Key{cursor.journal, cursor.seq + 1}) + "-" +
         std::to_string(cursor.n);
}

Expected<Cursor> cursor_from(std::string_view text) {
  if (text.empty()) return Cursor{};
  if (!text.starts_with(prefix)) return not_a_cursor(text);
  const auto rest = text.substr(prefix.size());
  const auto dash = rest.rfind('-');
  if (dash == std::string_view::npos || dash < 33) return not_a_cursor(text);
  // The number is one more than the seq that is known, so that "before the first event" is a key's text as
  // well.
  const auto key = key_from(rest.substr(0, dash));
  const auto digits = rest.substr(dash + 1);
  std::uint64_t n = 0;
  const auto [end, fault] = std::from_chars(digits.data(), digits.data() + digits.size(), n);
  if (!key || digits.empty() || fault != std::errc{} || end != digits.data() + digits.size() ||
      n > 0x7fffffffULL)
    return not_a_cursor(text);
  return Cursor{key->journal, key->seq - 1, n};
}

std::string fact_key(const Key& event, std::uint64_t n) {
  return tallystick::text(event) + "/" + std::to_string(n);
}

}  // namespace tallystick::record
