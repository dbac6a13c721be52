// Lengths at the reference temperature of 20 degC (ISO 1:2016), and what materials grow by.
#pragma once

#include <span>
#include <string_view>

#include "daemon/measure/quantity.hpp"

namespace tallystick {

/// A coefficient of linear expansion, with where it was read and the range that it holds for: three books
/// give three values for one steel because their ranges differ.
struct Material {
  std::string_view name;  ///< "aluminium 6061"
  double micrometres_per_metre_kelvin = 0;
  std::string_view range, source;
};
std::span<const Material> materials();
/// Error "unknown_material", with what there is.
Expected<Material> material_named(std::string_view name);

/// A body, its temperature and what is not known of both (standard uncertainties).
struct Warm {
  double per_kelvin = 0;  ///< 11.5e-6
  double celsius = 20;
  double per_kelvin_uncertainty = 0, celsius_uncertainty = 0;
};

struct AtReference {
  double millimetres = 0;           ///< what was indicated, brought to 20 degC
  double part_growth = 0;           ///< mm that the part was larger by
  double scale_growth = 0;          ///< mm that the scale (gauge, master) was longer by, at this length
  double standard_uncertainty = 0;  ///< mm, of temperatures and coefficients alone
};

struct TemperatureRange {
  double least = 10, most = 40;
};

/// L20 = L (1 + a_scale (t_scale - 20)) / (1 + a_part (t_part - 20)), the ratio exact, not its first order
/// (first order as in Swyt, J. Res. NIST 99(1) 31, 1994). Uncertainty by the law of propagation (JCGM
/// 100:2008, 5.1.2), each influence by itself. Errors: "not_a_number", "out_of_range" (a length not above 0;
/// a temperature outside the range; with its member).
Expected<AtReference> at_reference(double indicated_millimetres, const Warm& part, const Warm& scale,
                                   TemperatureRange range = {});

}  // namespace tallystick
