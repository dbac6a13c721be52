// Limits of a print and the verdict against them: inclusive, exact, by the absolute method.
#pragma once

#include <optional>
#include <string_view>

#include "daemon/measure/quantity.hpp"

namespace tallystick {

/// `undecided` (inside the uncertainty zone, ISO 14253-1) is reserved: nothing yields it until uncertainty is known.
enum class Verdict : std::uint8_t { accept, reject, undecided };
std::string_view name(Verdict verdict);

/// Which limit the amount refers to.
enum class Side : std::uint8_t { lower, upper };
std::string_view name(Side side);

/// At least one of `lower`, `upper` is set; both in convertible units; lower <= upper.
struct Limits {
  std::optional<Quantity> lower;
  std::optional<Quantity> upper;
  std::optional<Quantity> nominal;

  bool operator==(const Limits&) const = default;

  /// The four ways a print states them. Errors: "no_limit", "limits_crossed", "nominal_outside", "wrong_unit",
  /// "overflow".
  static Expected<Limits> direct(std::optional<Quantity> lower, std::optional<Quantity> upper,
                                 std::optional<Quantity> nominal = {});
  static Expected<Limits> plus_minus(Quantity nominal, Quantity amount);
  static Expected<Limits> deviations(Quantity nominal, Quantity lower_deviation, Quantity upper_deviation);
};

/// A verdict with its working: for reject, `by` is how far outside `side`; for accept, how far inside the nearer
/// limit (the upper on a tie).
struct Judgement {
  Verdict verdict = Verdict::reject;
  Side side = Side::upper;
  Quantity by;
};

/// Judges by exact comparison. A value equal to a limit is inside. Error "wrong_unit".
Expected<Judgement> judge(const Limits& limits, Quantity value);

}  // namespace tallystick
