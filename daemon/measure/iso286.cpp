#include "daemon/measure/iso286.hpp"

#include <algorithm>
#include <optional>

#include "daemon/measure/iso286_tables.hpp"

namespace tallystick::iso286 {
namespace {

constexpr std::int64_t micrometre = 1'000'000;
constexpr std::int64_t millimetre = 1'000'000'000;
constexpr std::string_view digits = "0123456789";

char small(char c) { return c >= 'A' && c <= 'Z' ? static_cast<char>(c - 'A' + 'a') : c; }
bool is_small(char c) { return c >= 'a' && c <= 'z'; }
bool is_capital(char c) { return c >= 'A' && c <= 'Z'; }

std::string in_small(std::string_view letters) {
  std::string out(letters);
  std::transform(out.begin(), out.end(), out.begin(), small);
  return out;
}

std::string grade_text(int place) { return place == 0 ? "01" : std::to_string(place - 1); }

Quantity length(std::int64_t count) { return Quantity::of_count(count, Unit()); }

/// The place of the range (over, up to and including) that holds `nominal`.
template <class Ends>
std::size_t range_of(const Ends& ends_mm, std::int64_t nominal) {
  const auto found =
      std::find_if(ends_mm.begin(), ends_mm.end(), [&](int end) { return nominal <= end * millimetre; });
  return static_cast<std::size_t>(found - ends_mm.begin());
}

Done in_range(Quantity nominal) {
  if (nominal.dimension() != Dimension::length)
    return fail("wrong_unit", "a fit belongs to a length, not to " + std::string(nominal.unit().name()),
                "nominal", "give the nominal size in mm");
  if (nominal.count() <= 0 || nominal.count() > range_ends_mm.back() * millimetre)
    return fail(
        "out_of_range", "nominal " + written(nominal, Unit()).text + " mm is outside the tables of ISO 286-1",
        "nominal", "they hold sizes above 0 up to and including 3150 mm; state the limits themselves");
  return {};
}

tl::unexpected<Error> not_tabulated_at(Quantity nominal, const std::string& what, const std::string& hint) {
  return fail("not_tabulated", "ISO 286-1 has no " + what + " at " + written(nominal, Unit()).text + " mm",
              "class", hint);
}

/// The fundamental deviation of a shaft as tabulated, in micrometres.
std::optional<int> shaft_um(std::string_view letters, std::size_t range, int place) {
  bool elsewhere_zero = false;
  for (const auto& column : shaft_columns) {
    if (column.letters != letters) continue;
    if (letters == "k")
      elsewhere_zero = true;  // its own grades are 4 to 7 up to 500 mm; all the rest is zero
    const auto value = column.um[range];
    if (column.first <= place && place <= column.last && value != not_tabulated) return value;
  }
  if (elsewhere_zero) return 0;
  return {};
}

bool one_of(std::string_view letters, std::initializer_list<std::string_view> those) {
  return std::find(those.begin(), those.end(), letters) != those.end();
}

/// "a" to "h": the fundamental deviation is the one nearer to the nominal on the side of clearance.
bool clear_of_nominal(std::string_view letters) { return letters[0] <= 'h'; }

struct Place {
  Quantity nominal;
  std::size_t range;
  int grade_place;
  std::int64_t tolerance;  ///< picometres

  bool small_size() const { return nominal.count() <= 3 * millimetre; }
  bool large_size() const { return range >= ranges_to_500; }
};

/// delta of the interference holes, in picometres; none where the standard tabulates none.
Expected<std::int64_t> delta_of(const Place& at, const ToleranceClass& one) {
  if (at.small_size()) return std::int64_t{0};
  if (at.grade_place < grade(3))
    return not_tabulated_at(at.nominal, "delta for " + one.text(),
                            "delta begins at IT3; state the limits themselves");
  const auto finer = standard_tolerance(at.nominal, at.grade_place - 1);
  if (!finer) return tl::unexpected(finer.error());
  return at.tolerance - finer->count();
}

/// ES of J, which follows no rule.
Expected<std::int64_t> upper_of_j(const Place& at, const ToleranceClass& one) {
  if (at.large_size() || at.grade_place < grade(6) || at.grade_place > grade(8))
    return not_tabulated_at(at.nominal, one.text(),
                            "J stands for grades 6, 7 and 8 up to 500 mm; JS for all");
  return holes_j_um[static_cast<std::size_t>(at.grade_place - grade(6))][at.range] * micrometre;
}

/// ES of K to ZC: the mirror of the shaft, plus delta where the standard says so.
Expected<std::int64_t> upper_of_hole(const Place& at, const ToleranceClass& one) {
  const auto letters = in_small(one.letters);
  if (letters == "j") return upper_of_j(at, one);
  const bool first_letters = one_of(letters, {"k", "m", "n"});
  const bool with_delta = !at.large_size() && at.grade_place <= grade(first_letters ? 8 : 7);
  if (!with_delta && !at.large_size() && !at.small_size()) {
    if (letters == "k")
      return not_tabulated_at(at.nominal, one.text(), "K ends at IT8 above 3 mm; JS or N go further");
    if (letters == "n") return std::int64_t{0};
  }
  // The mirror is that of the grades that the holes' table is drawn for: k of IT4 to IT7.
  const auto mirrored = shaft_um(letters, at.range, letters == "k" ? grade(7) : at.grade_place);
  if (!mirrored)
    return not_tabulated_at(at.nominal, one.text(), "take a neighbouring letter, or state the limits");
  std::int64_t upper = -*mirrored * micrometre;
  if (!with_delta) return upper;
  if (letters == "m" && at.grade_place == grade(6) && at.range >= range_of(range_ends_mm, 280 * millimetre) &&
      at.range <= range_of(range_ends_mm, 315 * millimetre))
    return -9 * micrometre;  // the standard's own exception; the rule would give -11
  const auto delta = delta_of(at, one);
  if (!delta) return delta;
  return upper + *delta;
}

/// Not used up to 1 mm: a, b, A, B; N above IT8; IT14 and coarser.
Done usable_at(const Place& at, const ToleranceClass& one) {
  if (at.nominal.count() > millimetre) return {};
  const auto letters = in_small(one.letters);
  if (one_of(letters, {"a", "b"}) || (one.letters == "N" && at.grade_place > grade(8)) ||
      at.grade_place >= grade(14))
    return not_tabulated_at(at.nominal, one.text(),
                            "up to 1 mm there is no a, b, A, B, no N above grade 8, no grade above 13");
  return {};
}

Deviations centred(const Place& at, OddHalf odd) {
  auto tolerance = at.tolerance;
  if (odd == OddHalf::even_below && at.grade_place >= grade(7) && at.grade_place <= grade(11) &&
      tolerance % (2 * micrometre) == micrometre)
    tolerance -= micrometre;
  return {length(-tolerance / 2), length(tolerance / 2)};
}

Expected<Deviations> hole_deviations(const Place& at, const ToleranceClass& one) {
  const auto letters = in_small(one.letters);
  if (clear_of_nominal(letters)) {
    const auto shaft = shaft_um(letters, at.range, at.grade_place);
    if (!shaft)
      return not_tabulated_at(at.nominal, one.text(), "take a neighbouring letter, or state the limits");
    const auto lower = -*shaft * micrometre;
    return Deviations{length(lower), length(lower + at.tolerance)};
  }
  const auto upper = upper_of_hole(at, one);
  if (!upper) return tl::unexpected(upper.error());
  return Deviations{length(*upper - at.tolerance), length(*upper)};
}

Expected<Deviations> shaft_deviations(const Place& at, const ToleranceClass& one) {
  const auto value = shaft_um(one.letters, at.range, at.grade_place);
  if (!value)
    return not_tabulated_at(at.nominal, one.text(),
                            one.letters == "j"
                                ? "j stands for grades 5 to 7 up to 500 mm (8 up to 3 mm); js for all"
                                : "take a neighbouring letter, or state the limits");
  const auto count = *value * micrometre;
  if (clear_of_nominal(one.letters)) return Deviations{length(count - at.tolerance), length(count)};
  return Deviations{length(count), length(count + at.tolerance)};
}

bool known_letters(const std::string& letters) {
  const auto in = in_small(letters);
  return in == "js" || std::any_of(shaft_columns.begin(), shaft_columns.end(),
                                   [&](const ShaftColumn& column) { return column.letters == in; });
}

/// The place of a grade's digits, or -1.
int grade_place_of(std::string_view text) {
  if (text == "01") return 0;
  for (int place = 1; place < grade_count; ++place)
    if (text == grade_text(place)) return place;
  return -1;
}

}  // namespace

std::string_view name(OddHalf choice) { return choice == OddHalf::exact ? "exact" : "even-below"; }

Expected<OddHalf> odd_half_named(std::string_view word) {
  if (word == "exact") return OddHalf::exact;
  if (word == "even-below") return OddHalf::even_below;
  return fail("unknown_word", quoted(word) + " is no way to halve an odd tolerance", {},
              "\"exact\" (10.5 of 21) or \"even-below\" (10 of 21)");
}

std::string_view name(FitKind kind) {
  constexpr std::string_view names[] = {"clearance", "transition", "interference"};
  return names[static_cast<std::size_t>(kind)];
}

std::string ToleranceClass::text() const { return letters + grade_text(grade_place); }

Expected<ToleranceClass> class_from(std::string_view text) {
  const auto begin = text.find_first_of(digits);
  const auto letters = std::string(text.substr(0, begin));
  const bool holes = !letters.empty() && std::all_of(letters.begin(), letters.end(), is_capital);
  const bool shafts = !letters.empty() && std::all_of(letters.begin(), letters.end(), is_small);
  const bool mixed = !holes && !shafts && !letters.empty() && known_letters(letters);
  if (mixed)
    return fail("unknown_letter", quoted(letters) + " mixes capital and small letters", "class",
                "capitals are a hole (\"JS\"), small ones a shaft (\"js\")");
  if ((!holes && !shafts) || begin == std::string_view::npos)
    return fail("not_a_fit", quoted(text) + " is no tolerance class: letters and a grade are expected",
                "class", "write it like H7, g6, JS9 or zc11");
  if (!known_letters(letters))
    return fail(
        "unknown_letter", quoted(letters) + " is no letter of ISO 286-1", "class",
        "a b c cd d e ef f fg g h j js k m n p r s t u v x y z za zb zc, or their capitals for holes");
  const int place = grade_place_of(text.substr(begin));
  if (place < 0)
    return fail("unknown_grade", quoted(text.substr(begin)) + " is no grade of ISO 286-1", "class",
                "01, 0, 1, 2 ... 18");
  return ToleranceClass{holes, letters, place};
}

Expected<Quantity> standard_tolerance(Quantity nominal, int grade_place) {
  if (const auto good = in_range(nominal); !good) return tl::unexpected(good.error());
  const auto tenths =
      tolerances_tenth_um[range_of(step_ends_mm, nominal.count())][static_cast<std::size_t>(grade_place)];
  if (tenths == not_tabulated)
    return not_tabulated_at(nominal, "grade IT" + grade_text(grade_place), "IT01 and IT0 end at 500 mm");
  return length(tenths * (micrometre / 10));
}

Expected<Deviations> deviations(Quantity nominal, const ToleranceClass& tolerance_class, OddHalf odd) {
  const auto tolerance = standard_tolerance(nominal, tolerance_class.grade_place);
  if (!tolerance) return tl::unexpected(tolerance.error());
  const Place at{nominal, range_of(range_ends_mm, nominal.count()), tolerance_class.grade_place,
                 tolerance->count()};
  if (const auto good = usable_at(at, tolerance_class); !good) return tl::unexpected(good.error());
  if (in_small(tolerance_class.letters) == "js") return centred(at, odd);
  return tolerance_class.hole ? hole_deviations(at, tolerance_class) : shaft_deviations(at, tolerance_class);
}

Expected<Limits> limits(Quantity nominal, const ToleranceClass& tolerance_class, OddHalf odd) {
  const auto from = deviations(nominal, tolerance_class, odd);
  if (!from) return tl::unexpected(from.error());
  const auto size = Quantity::of_count(nominal.count(), Unit());
  const auto lower = add(size, from->lower), upper = add(size, from->upper);
  if (!lower) return tl::unexpected(lower.error());
  if (!upper) return tl::unexpected(upper.error());
  if (lower->count() <= 0)
    return fail("out_of_range",
                tolerance_class.text() + " at " + size.text() + " mm leaves no size at the lower limit",
                "class", "take a finer grade, or state the limits themselves");
  return Limits{*lower, *upper, size};
}

Expected<Fit> fit(Quantity nominal, const ToleranceClass& hole, const ToleranceClass& shaft, OddHalf odd) {
  if (!hole.hole || shaft.hole)
    return fail("not_a_fit", hole.text() + "/" + shaft.text() + " is not a hole and a shaft", "class",
                "write the hole first, in capitals: H7/g6");
  const auto outer = limits(nominal, hole, odd);
  if (!outer) return tl::unexpected(outer.error());
  const auto inner = limits(nominal, shaft, odd);
  if (!inner) return tl::unexpected(inner.error());
  Fit out{
      *outer, *inner, *subtract(*outer->lower, *inner->upper), *subtract(*outer->upper, *inner->lower), {}};
  out.kind = out.least_clearance.count() >= 0      ? FitKind::clearance
             : out.greatest_clearance.count() <= 0 ? FitKind::interference
                                                   : FitKind::transition;
  return out;
}

Expected<Written286> taken_apart(std::string_view text) {
  const auto bad = [&] {
    return fail("not_a_fit", quoted(text) + " is no size with a tolerance class", {},
                "write it like \"25 H7\", \"25 g6\" or \"25 H7/g6\"");
  };
  const auto first = text.find_first_not_of(' ');
  if (first == std::string_view::npos) return bad();
  text.remove_prefix(first);
  text = text.substr(0, text.find_last_not_of(' ') + 1);
  const auto end =
      std::find_if(text.begin(), text.end(), [](char c) { return is_small(c) || is_capital(c); });
  auto nominal = text.substr(0, static_cast<std::size_t>(end - text.begin()));
  const auto classes = text.substr(nominal.size());
  nominal = nominal.substr(0, nominal.find_last_not_of(' ') + 1);
  if (nominal.empty() || classes.empty() || classes.find(' ') != std::string_view::npos) return bad();
  return Written286{std::string(nominal), std::string(classes)};
}

}  // namespace tallystick::iso286
