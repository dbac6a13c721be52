// Limits of size from a tolerance class of the print: "25 H7", "25 g6", "25 H7/g6" (ISO 286-1, ISO 286-2).
//
// Followed is ISO 286-1:2010, by its tables and not by the formulas behind them: standard tolerances IT01 to
// IT18 up to 500 mm and IT1 to IT18 up to 3150 mm; letters a to zc up to 500 mm and d to u (of d e f g h js k
// m n p r s t u) up to 3150 mm. Holes follow from the shafts by the standard's own rule: A to H are the
// mirror, K, M, N up to IT8 and P to ZC up to IT7 the mirror plus delta = IT(n) - IT(n-1) from 3 to 500 mm;
// M6 from 250 to 315 mm is the standard's exception. cd, ef, fg stand up to 10 mm (later editions are said to
// go further; no public table was found).
//
// All exact: millimetres and picometres, no double. Pure, any thread. The sizes hold at 20 degC (ISO 1).
#pragma once

#include <cstdint>
#include <string>
#include <string_view>

#include "daemon/measure/limits.hpp"

namespace tallystick::iso286 {

/// js and JS are plus and minus IT/2. Where that leaves half a micrometre in IT7 to IT11, tables in use
/// differ: `exact` keeps it (IT7 = 21: 10.5; ISO 286-1:2010), `even_below` first lowers an odd IT to the even
/// value just below (20: 10), as older tables allow.
enum class OddHalf : std::uint8_t { exact, even_below };
std::string_view name(OddHalf choice);
/// "exact", "even-below". Error "unknown_word".
Expected<OddHalf> odd_half_named(std::string_view word);

/// A tolerance class: letters and grade. Capital letters are a hole, small ones a shaft.
struct ToleranceClass {
  bool hole = false;
  std::string letters;  ///< as written: "H", "js"
  int grade_place = 0;  ///< 0: IT01, 1: IT0, 2: IT1 ... 19: IT18

  std::string text() const;  ///< "H7", "js01"
  bool operator==(const ToleranceClass&) const = default;
};

/// Errors "not_a_fit" (nothing like letters and grade), "unknown_letter", "unknown_grade".
Expected<ToleranceClass> class_from(std::string_view text);

/// IT of the grade at a nominal size, in mm. Errors "out_of_range" (size), "not_tabulated" (grade there),
/// "wrong_unit".
Expected<Quantity> standard_tolerance(Quantity nominal, int grade_place);

/// Lower and upper deviation from the nominal, in mm; each with its sign.
struct Deviations {
  Quantity lower, upper;
};
/// Errors of `standard_tolerance`, and "not_tabulated" for letters that have no value at this size and grade.
Expected<Deviations> deviations(Quantity nominal, const ToleranceClass& tolerance_class,
                                OddHalf odd = OddHalf::exact);

/// Nominal, lower and upper limit, in mm. The nominal may lie outside them.
Expected<Limits> limits(Quantity nominal, const ToleranceClass& tolerance_class,
                        OddHalf odd = OddHalf::exact);

/// ISO 286-1, 3.3: clearance (never below zero), interference (never above zero), transition (either).
enum class FitKind : std::uint8_t { clearance, transition, interference };
std::string_view name(FitKind kind);

/// A hole and a shaft of one nominal size. A clearance below zero is an interference of that amount.
struct Fit {
  Limits hole, shaft;
  Quantity least_clearance;     ///< lower limit of the hole minus upper limit of the shaft
  Quantity greatest_clearance;  ///< upper limit of the hole minus lower limit of the shaft
  FitKind kind = FitKind::clearance;
};
/// Errors of `limits`, and "not_a_fit" where they are not a hole and a shaft.
Expected<Fit> fit(Quantity nominal, const ToleranceClass& hole, const ToleranceClass& shaft,
                  OddHalf odd = OddHalf::exact);

/// "25 H7", "25H7", "25 H7/g6" taken apart: the nominal's text and what stands behind it. Error "not_a_fit".
struct Written286 {
  std::string nominal, classes;
};
Expected<Written286> taken_apart(std::string_view text);

}  // namespace tallystick::iso286
