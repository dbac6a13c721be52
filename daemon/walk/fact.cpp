#include "daemon/walk/fact.hpp"

#include <charconv>

namespace tallystick {

namespace {
constexpr std::size_t journal_digits = 32;

bool is_journal_id(std::string_view id) {
  return id.size() == journal_digits && id.find_first_not_of("0123456789abcdef") == std::string_view::npos;
}
}  // namespace

std::string text(const Key& key) {
  if (key.empty()) return {};
  return key.journal + '-' + std::to_string(key.seq);
}

std::optional<Key> key_from(std::string_view text) {
  if (text.size() < journal_digits + 2 || text[journal_digits] != '-') return std::nullopt;
  const auto journal = text.substr(0, journal_digits);
  const auto digits = text.substr(journal_digits + 1);
  if (!is_journal_id(journal) || digits.front() == '0') return std::nullopt;
  std::uint64_t seq = 0;
  const auto [end, fault] = std::from_chars(digits.data(), digits.data() + digits.size(), seq);
  // SQLite's integers are signed: a key beyond them names nothing.
  if (fault != std::errc{} || end != digits.data() + digits.size() || seq > 0x7fffffffffffffffULL)
    return std::nullopt;
  return Key{std::string(journal), seq};
}

}  // namespace tallystick
