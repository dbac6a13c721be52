// The table of units, and "did you mean".
#include <algorithm>
#include <array>

#include "daemon/measure/proposal.hpp"
#include "daemon/measure/unit.hpp"

namespace tallystick {
namespace {

struct Row {
  std::string_view name;
  Dimension dimension;
  Scale scale;
};

constexpr Row length(std::string_view name, std::int64_t picometres) {
  return {name, Dimension::length, {picometres, 1, 0}};
}
constexpr Row scalar(std::string_view name) { return {name, Dimension::scalar, {1'000'000'000, 1, 0}}; }

// 0 degC = 273.15 K; 0 degF = 459.67 / 1.8 K. Counts of temperature points are microkelvin above absolute
// zero. A scalar never converts: kN and N, or bar and psi, are as far apart as N and HRC.
constexpr std::array table{
    length("mm", 1'000'000'000),
    length("um", 1'000'000),
    length("nm", 1'000),
    length("m", 1'000'000'000'000),
    length("in", 25'400'000'000),
    length("thou", 25'400'000),
    length("uin", 25'400),
    Row{"deg", Dimension::angle, {3'600'000'000'000, 1, 0}},
    Row{"dms", Dimension::angle, {3'600'000'000'000, 1, 0}},
    Row{"degC", Dimension::temperature, {1'000'000, 1, 273'150'000}},
    Row{"degF", Dimension::temperature, {5'000'000, 9, 2'298'350'000}},
    Row{"delta-degC", Dimension::temperature_difference, {1'000'000, 1, 0}},
    Row{"delta-degF", Dimension::temperature_difference, {5'000'000, 9, 0}},
    // force, mass, torque, pressure
    scalar("N"),
    scalar("mN"),
    scalar("kN"),
    scalar("lbf"),
    scalar("g"),
    scalar("mg"),
    scalar("kg"),
    scalar("lb"),
    scalar("oz"),
    scalar("Nm"),
    scalar("cNm"),
    scalar("lbf-ft"),
    scalar("lbf-in"),
    scalar("Pa"),
    scalar("kPa"),
    scalar("MPa"),
    scalar("bar"),
    scalar("mbar"),
    scalar("psi"),
    // hardness: scale names of ISO 6506, 6507, 6508, 4545 and 48-4
    scalar("HRA"),
    scalar("HRB"),
    scalar("HRC"),
    scalar("HRD"),
    scalar("HRE"),
    scalar("HRF"),
    scalar("HRG"),
    scalar("HRK"),
    scalar("HR15N"),
    scalar("HR30N"),
    scalar("HR45N"),
    scalar("HR15T"),
    scalar("HR30T"),
    scalar("HR45T"),
    scalar("HV"),
    scalar("HB"),
    scalar("HBW"),
    scalar("HK"),
    scalar("shore-A"),
    scalar("shore-D"),
    // the rest of a bench
    scalar("percent"),
    scalar("ppm"),
    scalar("count"),
    scalar("ratio"),
    scalar("V"),
    scalar("mV"),
    scalar("A"),
    scalar("mA"),
    scalar("ohm"),
    scalar("Hz"),
    scalar("rpm"),
    scalar("s"),
    scalar("ms"),
    scalar("dB"),
    scalar("percent-rh"),
    scalar("mm2"),
    scalar("mm3"),
    scalar("l/min"),
    scalar("ml/min"),
    scalar("gloss-unit"),
};
static_assert(table.size() < 256);
static_assert(table[0].name == "mm" && table[4].name == "in" && table[6].name == "uin");
static_assert(table[7].name == "deg" && table[8].name == "dms");

// What people write instead. Exact names only are accepted: a unit is never guessed, only proposed.
struct OtherName {
  std::string_view other, name;
};
constexpr std::array other_names{
    OtherName{"inch", "in"},       OtherName{"inches", "in"},     OtherName{"\"", "in"},
    OtherName{"mil", "thou"},      OtherName{"mils", "thou"},     OtherName{"micron", "um"},
    OtherName{"microns", "um"},    OtherName{"\u00b5m", "um"},    OtherName{"\u03bcm", "um"},
    OtherName{"mu", "um"},         OtherName{"\u00b5in", "uin"},  OtherName{"\u03bcin", "uin"},
    OtherName{"millimetre", "mm"}, OtherName{"millimeter", "mm"}, OtherName{"metre", "m"},
    OtherName{"meter", "m"},       OtherName{"\u00b0", "deg"},    OtherName{"degree", "deg"},
    OtherName{"degrees", "deg"},   OtherName{"C", "degC"},        OtherName{"celsius", "degC"},
    OtherName{"\u00b0C", "degC"},  OtherName{"F", "degF"},        OtherName{"fahrenheit", "degF"},
    OtherName{"\u00b0F", "degF"},  OtherName{"K", "delta-degC"},  OtherName{"%", "percent"},
    OtherName{"newton", "N"},      OtherName{"gram", "g"},        OtherName{"grams", "g"},
    OtherName{"pcs", "count"},     OtherName{"rockwell", "HRC"},  OtherName{"N m", "Nm"},
};

char lower(char c) { return c >= 'A' && c <= 'Z' ? static_cast<char>(c - 'A' + 'a') : c; }

bool same_but_for_case(std::string_view a, std::string_view b) {
  return std::equal(a.begin(), a.end(), b.begin(), b.end(),
                    [](char x, char y) { return lower(x) == lower(y); });
}

std::string proposal(std::string_view name) {
  std::vector<std::string_view> near;
  const auto propose = [&near](std::string_view unit) {
    if (std::find(near.begin(), near.end(), unit) == near.end()) near.push_back(unit);
  };
  for (const auto& row : table) {
    if (same_but_for_case(row.name, name)) propose(row.name);
  }
  for (const auto& alias : other_names) {
    if (same_but_for_case(alias.other, name)) propose(alias.name);
  }
  if (near.empty() && name.size() <= 16) {
    std::size_t least = name.size() > 3 ? 2 : 1;
    for (const auto& row : table) least = std::min(least, std::max<std::size_t>(1, spelling_distance(row.name, name)));
    for (const auto& row : table) {
      if (near.size() < 3 && row.name.size() > 1 && spelling_distance(row.name, name) == least) propose(row.name);
    }
  }
  if (near.empty()) return "units are written like mm, um, in, thou, deg, dms, degC, N, HRC";
  std::string out = "did you mean ";
  for (std::size_t i = 0; i < near.size(); ++i) {
    out += (i == 0 ? "\"" : " or \"") + std::string(near[i]) + "\"";
  }
  return out + "?";
}

}  // namespace

Expected<Unit> Unit::named(std::string_view name) {
  const auto* const row =
      std::find_if(table.begin(), table.end(), [name](const Row& r) { return r.name == name; });
  if (row == table.end()) return fail("unknown_unit", "unknown unit " + quoted(name), {}, proposal(name));
  return Unit(static_cast<std::uint8_t>(row - table.begin()));
}

std::vector<Unit> Unit::all() {
  std::vector<Unit> units;
  for (std::size_t i = 0; i < table.size(); ++i) units.push_back(Unit(static_cast<std::uint8_t>(i)));
  return units;
}

std::string_view Unit::name() const { return table[index_].name; }
Dimension Unit::dimension() const { return table[index_].dimension; }

bool convertible(Unit from, Unit to) {
  return from.dimension() == to.dimension() && (from.dimension() != Dimension::scalar || from == to);
}

Unit difference_unit(Unit unit) {
  if (unit.dimension() != Dimension::temperature) return unit;
  return *Unit::named("delta-" + std::string(unit.name()));
}

Scale scale_of(Unit unit) { return table[unit.index()].scale; }

}  // namespace tallystick
