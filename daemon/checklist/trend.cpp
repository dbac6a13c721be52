#include "daemon/checklist/trend.hpp"

#include <algorithm>
#include <set>

namespace tallystick::checklist {

namespace {

constexpr std::size_t others_at_least = 3;
constexpr int greater_step = 3;

struct Point {
  const TrendRow* row;
  Rational value;
};

bool only_grows(const std::vector<Point>& points, std::size_t left_out) {
  const Rational* before = nullptr;
  for (std::size_t n = 0; n < points.size(); ++n) {
    if (n == left_out) continue;
    if (before && points[n].value < *before) return false;
    before = &points[n].value;
  }
  return true;
}

bool has_trend(std::vector<Point> points, std::size_t left_out) {
  if (only_grows(points, left_out)) return true;
  for (auto& point : points) point.value = -point.value;
  return only_grows(points, left_out);
}

/// How many times the greater is the smaller; nothing where one is zero or their signs differ.
std::optional<Rational> ratio(const Rational& a, const Rational& b) {
  if (a == 0 || b == 0 || (a < 0) != (b < 0)) return {};
  const Rational r = a / b;
  return r < 1 ? Rational(1 / r) : r;
}

/// The step from an end row to its neighbour, where it is far greater than every other step.
bool jumps(const std::vector<Point>& points, std::size_t end, std::size_t neighbour) {
  const auto own = ratio(points[end].value, points[neighbour].value);
  if (!own) return false;
  Rational greatest = 1;
  for (std::size_t n = 1; n < points.size(); ++n) {
    if (n == end || n - 1 == end) continue;
    const auto other = ratio(points[n - 1].value, points[n].value);
    if (!other) return false;
    greatest = std::max(greatest, *other);
  }
  return *own > greater_step * greatest;
}

/// The cell as it is written: only for people.
std::string shown(const Rational& value) {
  const auto top = boost::multiprecision::numerator(value),
             bottom = boost::multiprecision::denominator(value);
  std::string digits;
  auto rest = top < 0 ? decltype(top)(-top) : top;
  digits = boost::multiprecision::cpp_int(rest / bottom).str();
  rest = rest % bottom;
  if (rest != 0) digits += '.';
  for (int n = 0; n < 12 && rest != 0; ++n) {
    rest *= 10;
    digits += boost::multiprecision::cpp_int(rest / bottom).str();
    rest = rest % bottom;
  }
  return (top < 0 ? "-" : "") + digits;
}

Fault fault_of(const std::vector<Point>& points, std::size_t at, const std::string& column,
               const std::string& file) {
  std::string neighbours;
  for (const auto n : {at - 1, at + 1})
    if (n < points.size())  // at - 1 wraps round at the first row
      neighbours +=
          (neighbours.empty() ? "" : " and ") + shown(points[n].value) + " (" + points[n].row->size + ")";
  return {Severity::warning,
          file,
          points[at].row->line,
          "column " + column,
          "breaks_trend",
          shown(points[at].value) + " at size " + points[at].row->size +
              " breaks the trend of the column: its neighbours have " + neighbours,
          "hold it against the print; look for a slip of the decimal mark"};
}

void check_column(const std::vector<Point>& points, const std::string& column, const std::string& file,
                  std::vector<Fault>& out) {
  if (points.size() <= others_at_least) return;
  const std::size_t none = points.size();
  if (has_trend(points, none)) {
    if (jumps(points, 0, 1)) out.push_back(fault_of(points, 0, column, file));
    if (jumps(points, points.size() - 1, points.size() - 2))
      out.push_back(fault_of(points, points.size() - 1, column, file));
    return;
  }
  std::vector<std::size_t> to_blame;
  for (std::size_t n = 0; n < points.size(); ++n)
    if (has_trend(points, n)) to_blame.push_back(n);
  // Three and more: every row but few breaks it, so there is no trend to break.
  if (to_blame.size() > 2) return;
  if (to_blame.size() == 2) {
    // Near an end leaving out either mends it; the right one leaves no far greater step behind.
    std::vector<std::size_t> mends;
    for (const auto n : to_blame) {
      auto rest = points;
      rest.erase(rest.begin() + static_cast<std::ptrdiff_t>(n));
      if (!jumps(rest, 0, 1) && !jumps(rest, rest.size() - 1, rest.size() - 2)) mends.push_back(n);
    }
    if (mends.size() == 1) to_blame = std::move(mends);
  }
  for (const auto n : to_blame) out.push_back(fault_of(points, n, column, file));
}

}  // namespace

std::vector<Fault> trend_breaks(const std::vector<TrendRow>& rows, const std::string& file) {
  std::map<std::pair<std::string, std::string>, std::vector<Point>> columns;
  for (const auto& row : rows)
    for (const auto& [column, cell] : row.cells)
      if (!cell.empty) columns[{column, row.print_unit}].push_back({&row, cell.value});
  std::vector<Fault> out;
  for (const auto& [name, points] : columns) check_column(points, name.first, file, out);
  std::stable_sort(out.begin(), out.end(), [](const Fault& a, const Fault& b) { return a.line < b.line; });
  return out;
}

}  // namespace tallystick::checklist
