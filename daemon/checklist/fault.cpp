#include "daemon/checklist/fault.hpp"

#include <algorithm>
#include <numeric>
#include <tuple>

namespace tallystick::checklist {
namespace {

/// Edit distance where swapped neighbours count once (optimal string alignment).
std::size_t distance(std::string_view a, std::string_view b) {
  std::vector<std::size_t> before(b.size() + 1), last(b.size() + 1), row(b.size() + 1);
  std::iota(last.begin(), last.end(), std::size_t{0});
  for (std::size_t i = 1; i <= a.size(); ++i) {
    row[0] = i;
    for (std::size_t j = 1; j <= b.size(); ++j) {
      row[j] = std::min({last[j] + 1, row[j - 1] + 1, last[j - 1] + (a[i - 1] == b[j - 1] ? 0U : 1U)});
      if (i > 1 && j > 1 && a[i - 1] == b[j - 2] && a[i - 2] == b[j - 1])
        row[j] = std::min(row[j], before[j - 2] + 1);
    }
    std::swap(before, last);
    std::swap(last, row);
  }
  return last[b.size()];
}

}  // namespace

std::string text(const Fault& fault) {
  std::string out = fault.severity == Severity::warning ? "warning: " : "";
  if (!fault.file.empty()) {
    out += fault.file;
    if (fault.line > 0) out += ":" + std::to_string(fault.line);
    out += ": ";
  }
  if (!fault.place.empty()) out += fault.place + ": ";
  out += fault.what;
  if (!fault.remedy.empty()) out += " (" + fault.remedy + ")";
  return out;
}

bool sound(std::span<const Fault> faults) {
  return std::none_of(faults.begin(), faults.end(),
                      [](const Fault& f) { return f.severity == Severity::fault; });
}

void sort_by_place(std::vector<Fault>& faults) {
  std::stable_sort(faults.begin(), faults.end(), [](const Fault& a, const Fault& b) {
    return std::tie(a.file, a.line) < std::tie(b.file, b.line);
  });
}

std::string nearest(std::string_view word, std::span<const std::string> known) {
  std::string best;
  std::size_t best_distance = std::max<std::size_t>(word.size() / 3, 1) + 1;
  for (const auto& candidate : known) {
    const auto d = distance(word, candidate);
    if (d < best_distance) {
      best = candidate;
      best_distance = d;
    }
  }
  return best;
}

std::string did_you_mean(std::string_view word, std::span<const std::string> known) {
  if (const auto best = nearest(word, known); !best.empty()) return "did you mean \"" + best + "\"?";
  if (known.empty()) return {};
  std::string out = "known are ";
  for (std::size_t i = 0; i < known.size(); ++i) out += (i == 0 ? "" : ", ") + known[i];
  return out;
}

}  // namespace tallystick::checklist
