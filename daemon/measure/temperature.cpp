#include "daemon/measure/temperature.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <string>

namespace tallystick {
namespace {

constexpr std::string_view callister =
    "Callister, Fundamentals of Materials Science and Engineering 3e, Table B.6";
constexpr std::string_view swyt = "Swyt, J. Res. NIST 99(1) 31 (1994)";

// 1e-6 per kelvin; each as read in its source.
constexpr std::array table{
    Material{"aluminium 6061", 23.6, "room temperature", callister},
    Material{"steel A36 / 1020", 11.7, "room temperature", callister},
    Material{"steel 1040", 11.3, "room temperature", callister},
    Material{"steel 4140 / 4340", 12.3, "room temperature", callister},
    Material{"gauge-block / reference steel", 11.5, "typical", swyt},
    Material{"aluminium (typical)", 23.1, "typical", swyt},
    Material{"silicon", 2.6, "typical", swyt},
    Material{"stainless 304", 17.2, "room temperature", callister},
    Material{"stainless 316", 15.9, "room temperature", callister},
    Material{"stainless 440A", 10.2, "room temperature", callister},
    Material{"stainless 17-7PH", 11.0, "room temperature", callister},
    Material{"gray cast iron G1800/G3000/G4000", 11.4, "room temperature", callister},
    Material{"ductile iron 60-40-18", 11.2, "room temperature", callister},
    Material{"ductile iron 80-55-06", 10.6, "room temperature", callister},
    Material{"brass C26000 (cartridge)", 19.9, "room temperature", callister},
    Material{"brass C36000 (free-cutting)", 20.5, "room temperature", callister},
    Material{"bearing bronze C93200", 18.0, "room temperature", callister},
    Material{"aluminium bronze C95400", 16.2, "20-300 C", "alloy data page C95400, physical properties"},
    Material{"titanium Ti-6Al-4V", 8.6, "room temperature", callister},
    Material{"titanium commercially pure", 8.6, "room temperature", callister},
    Material{"cemented carbide 94WC-6Co", 4.3, "at 200 C",
             "ASM Thermal Properties of Metals, Table 2.2 excerpt"},
    Material{"cemented carbide 97WC-3Co", 4.0, "at 200 C",
             "ASM Thermal Properties of Metals, Table 2.2 excerpt"},
    Material{"cemented carbide 90WC-10Co", 5.2, "at 200 C",
             "ASM Thermal Properties of Metals, Table 2.2 excerpt"},
    Material{"cemented carbide gauge blocks", 4.23, "about 20 C",
             "abstract on cemented-carbide gauge blocks"},
    Material{"cemented carbide gauge blocks (second value)", 4.5, "about 20 C",
             "abstract on cemented-carbide gauge blocks"},
    Material{"acetal (unfilled)", 106.5, "not stated", "table Coefficients of Linear Thermal Expansion"},
    Material{"acetal glass filled", 39.4, "not stated", "table Coefficients of Linear Thermal Expansion"},
    Material{"AISI 1050 steel, source 1", 14.6, "21-650 C",
             "NIST Engineering Metrology Toolbox, Temperature Tutorial slide 12"},
    Material{"AISI 1050 steel, source 2", 11.5, "20-100 C",
             "NIST Engineering Metrology Toolbox, Temperature Tutorial slide 12"},
    Material{"AISI 1050 steel, source 3", 11.2, "0-100 C",
             "NIST Engineering Metrology Toolbox, Temperature Tutorial slide 12"},
    Material{"invar", 1.6, "room temperature", callister},
};

constexpr double reference_celsius = 20;

Done sound(const char* what, const Warm& body, TemperatureRange range) {
  for (const double value :
       {body.per_kelvin, body.celsius, body.per_kelvin_uncertainty, body.celsius_uncertainty})
    if (!std::isfinite(value)) return fail("not_a_number", "this is no finite number", what);
  if (body.celsius < range.least || body.celsius > range.most)
    return fail("out_of_range",
                "its temperature lies outside the range in which values are brought to 20 degC", what,
                "let it come to the room's temperature, and measure it again");
  if (body.per_kelvin_uncertainty < 0 || body.celsius_uncertainty < 0)
    return fail("out_of_range", "an uncertainty is not below 0", what);
  return {};
}

}  // namespace

std::span<const Material> materials() { return table; }

Expected<Material> material_named(std::string_view name) {
  std::string known;
  for (const auto& one : table) {
    if (one.name == name) return one;
    known += (known.empty() ? "" : ", ") + std::string(one.name);
  }
  return fail("unknown_material", "no coefficient is known for " + quoted(name), {},
              "known are: " + known + "; or give the coefficient itself");
}

Expected<AtReference> at_reference(double indicated, const Warm& part, const Warm& scale,
                                   TemperatureRange range) {
  if (!std::isfinite(indicated)) return fail("not_a_number", "this is no finite number", "indicated");
  if (!(indicated > 0)) return fail("out_of_range", "a length is above 0", "indicated");
  if (auto done = sound("part", part, range); !done) return tl::unexpected(done.error());
  if (auto done = sound("scale", scale, range); !done) return tl::unexpected(done.error());
  const double part_by = part.per_kelvin * (part.celsius - reference_celsius);
  const double scale_by = scale.per_kelvin * (scale.celsius - reference_celsius);
  AtReference out;
  const double there = indicated * (1 + scale_by);
  out.millimetres = there / (1 + part_by);
  out.part_growth = there - out.millimetres;
  out.scale_growth = indicated * scale_by;
  const double length = out.millimetres;
  const std::array influences = {length * (part.celsius - reference_celsius) * part.per_kelvin_uncertainty,
                                 length * part.per_kelvin * part.celsius_uncertainty,
                                 length * (scale.celsius - reference_celsius) * scale.per_kelvin_uncertainty,
                                 length * scale.per_kelvin * scale.celsius_uncertainty};
  double sum = 0;
  for (const double one : influences) sum += one * one;
  out.standard_uncertainty = std::sqrt(sum);
  return out;
}

}  // namespace tallystick
