// Linear programs of few variables and very many constraints: what minimum-zone fits come to.
#pragma once

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <optional>
#include <span>
#include <vector>

namespace tallystick::fit {

/// row . x >= bound.
template <std::size_t N>
struct Constraint {
  std::array<double, N> row{};
  double bound = 0;
};

template <std::size_t N>
std::optional<std::array<double, N>> solved(std::array<std::array<double, N>, N> matrix,
                                            std::array<double, N> right) {
  for (std::size_t column = 0; column < N; ++column) {
    std::size_t pivot = column;
    for (std::size_t row = column + 1; row < N; ++row)
      if (std::abs(matrix[row][column]) > std::abs(matrix[pivot][column])) pivot = row;
    if (std::abs(matrix[pivot][column]) < 1e-13) return {};
    std::swap(matrix[pivot], matrix[column]);
    std::swap(right[pivot], right[column]);
    for (std::size_t row = 0; row < N; ++row) {
      if (row == column) continue;
      const double factor = matrix[row][column] / matrix[column][column];
      for (std::size_t k = column; k < N; ++k) matrix[row][k] -= factor * matrix[column][k];
      right[row] -= factor * right[column];
    }
  }
  for (std::size_t row = 0; row < N; ++row) right[row] /= matrix[row][row];
  return right;
}

template <std::size_t N>
double dot(const std::array<double, N>& a, const std::array<double, N>& b) {
  double out = 0;
  for (std::size_t n = 0; n < N; ++n) out += a[n] * b[n];
  return out;
}

/// An optimum, and whether it is the only one: where a constraint that holds it carries no weight, x may move
/// along the others without loss.
template <std::size_t N>
struct Optimum {
  std::array<double, N> x{};
  bool unique = true;
};

/// The x of least objective . x that keeps every constraint, exact but for rounding: revised simplex on the
/// dual (G. B. Dantzig, Linear Programming and Extensions, 1963, chapter 9; from memory), whose basis is the
/// N constraints that hold the optimum. Each round looks at every constraint once. Rows and bounds are
/// expected scaled to about 1; `tolerance` is what a constraint may be missed by. Nothing: the constraints do
/// not determine x (too few, or in one line), or no basis was reached.
template <std::size_t N>
std::optional<Optimum<N>> least(const std::array<double, N>& objective,
                                std::span<const Constraint<N>> constraints, double tolerance = 1e-13) {
  constexpr double far = 1e5;
  constexpr std::size_t first_by_index = 500, most_rounds = 20'000;
  // A far box makes a first basis; it must have left it at the end.
  std::array<Constraint<N>, N> basis;
  std::array<std::size_t, N> index;
  for (std::size_t n = 0; n < N; ++n) {
    basis[n].row[n] = objective[n] < 0 ? -1 : 1;
    basis[n].bound = -far;
    index[n] = constraints.size() + n;
  }
  const auto transposed = [&] {
    std::array<std::array<double, N>, N> out;
    for (std::size_t row = 0; row < N; ++row)
      for (std::size_t column = 0; column < N; ++column) out[row][column] = basis[column].row[row];
    return out;
  };
  for (std::size_t round = 0; round < most_rounds; ++round) {
    std::array<std::array<double, N>, N> rows;
    std::array<double, N> bounds;
    for (std::size_t n = 0; n < N; ++n) {
      rows[n] = basis[n].row;
      bounds[n] = basis[n].bound;
    }
    const auto x = solved(rows, bounds);
    if (!x) return {};
    // Farthest missed; after many rounds the first missed, which cannot go in circles (R. G. Bland, 1977).
    std::optional<std::size_t> enters;
    double missed = tolerance;
    for (std::size_t n = 0; n < constraints.size(); ++n) {
      const double by = constraints[n].bound - dot(constraints[n].row, *x);
      if (by <= missed) continue;
      enters = n;
      missed = by;
      if (round >= first_by_index) break;
    }
    if (!enters) {
      const auto weights = solved(transposed(), objective);
      if (!weights) return {};
      for (std::size_t n = 0; n < N; ++n)
        if (index[n] >= constraints.size() || std::abs((*x)[n]) > far / 2) return {};
      Optimum<N> out{*x, true};
      for (const double weight : *weights) out.unique = out.unique && weight > 1e-9;
      return out;
    }
    const auto weights = solved(transposed(), objective);
    const auto direction = solved(transposed(), constraints[*enters].row);
    if (!weights || !direction) return {};
    std::optional<std::size_t> leaves;
    double ratio = 0;
    for (std::size_t n = 0; n < N; ++n) {
      if ((*direction)[n] <= 1e-12) continue;
      const double found = std::max(0.0, (*weights)[n]) / (*direction)[n];
      // The far box goes first where it can: it is no reading.
      const bool sooner =
          !leaves || found < ratio - 1e-15 ||
          (found <= ratio + 1e-15 && index[n] > index[*leaves] && index[n] >= constraints.size()) ||
          (found <= ratio + 1e-15 && index[*leaves] < constraints.size() && index[n] < index[*leaves]);
      if (!sooner) continue;
      leaves = n;
      ratio = found;
    }
    if (!leaves) return {};
    basis[*leaves] = constraints[*enters];
    index[*leaves] = *enters;
  }
  return {};
}

}  // namespace tallystick::fit
