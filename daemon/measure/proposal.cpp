#include "daemon/measure/proposal.hpp"

#include <algorithm>
#include <numeric>
#include <vector>

#include "daemon/measure/error.hpp"

namespace tallystick {
namespace {

char lower(char c) { return c >= 'A' && c <= 'Z' ? static_cast<char>(c - 'A' + 'a') : c; }

}  // namespace

std::size_t spelling_distance(std::string_view a, std::string_view b) {
  std::vector<std::size_t> row(b.size() + 1);
  std::iota(row.begin(), row.end(), std::size_t{0});
  for (std::size_t i = 0; i < a.size(); ++i) {
    std::size_t diagonal = row[0];
    row[0] = i + 1;
    for (std::size_t j = 0; j < b.size(); ++j) {
      const std::size_t replaced = diagonal + (lower(a[i]) == lower(b[j]) ? 0 : 1);
      diagonal = row[j + 1];
      row[j + 1] = std::min({replaced, row[j] + 1, row[j + 1] + 1});
    }
  }
  return row.back();
}

std::string_view nearest_name(std::string_view found, std::span<const std::string_view> known) {
  constexpr std::size_t longest = 64, farthest = 3;
  if (found.size() > longest) return {};
  std::string_view out;
  std::size_t least = std::min(farthest, std::max<std::size_t>(1, found.size() / 2)) + 1;
  for (const auto name : known) {
    const auto distance = spelling_distance(found, name);
    if (distance >= least) continue;
    least = distance;
    out = name;
  }
  return out;
}

std::string proposal_of(std::string_view found, std::span<const std::string_view> known) {
  if (const auto near = nearest_name(found, known); !near.empty())
    return "did you mean " + quoted(near) + "?";
  std::string out;
  for (const auto name : known) out += (out.empty() ? "known here: " : ", ") + std::string(name);
  return out.empty() ? "there are none" : out;
}

}  // namespace tallystick
