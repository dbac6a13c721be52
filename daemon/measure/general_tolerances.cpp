// ISO 2768-1:1989, Tables 1 to 3, as quoted in public tables (rf-tolerance,
// github.com/rf-ghofmockel/rf-tolerance, data/DIN2768, commit 857eff3, MIT licence, and a public file);
// tests/reference holds every row against copies.
#include "daemon/measure/general_tolerances.hpp"

#include <algorithm>
#include <array>
#include <iterator>
#include <limits>
#include <span>
#include <string>

namespace tallystick {
namespace {

constexpr std::int64_t millimetre = 1'000'000'000;
constexpr std::int64_t arc_minute = 60'000'000'000;
constexpr int no = -1;  // the standard has no value there
constexpr int no_end = std::numeric_limits<int>::max();

/// Up to and including `to_mm`; columns f m c v.
struct Row {
  int to_mm;
  std::array<int, 4> value;
};

// Hundredths of a millimetre.
constexpr Row linear[] = {
    {3, {5, 10, 20, no}},        {6, {5, 10, 30, 50}},        {30, {10, 20, 50, 100}},
    {120, {15, 30, 80, 150}},    {400, {20, 50, 120, 250}},   {1000, {30, 80, 200, 400}},
    {2000, {50, 120, 300, 600}}, {4000, {no, 200, 400, 800}},
};
constexpr Row edges[] = {{3, {20, 20, 40, 40}}, {6, {50, 50, 100, 100}}, {no_end, {100, 100, 200, 200}}};
// Minutes of arc, by the shorter side.
constexpr Row angles[] = {{10, {60, 60, 90, 180}},
                          {50, {30, 30, 60, 120}},
                          {120, {20, 20, 30, 60}},
                          {400, {10, 10, 15, 30}},
                          {no_end, {5, 5, 10, 20}}};

struct Table {
  std::span<const Row> rows;
  std::int64_t least;  ///< picometres, itself included
  std::string_view number, size_name;
};

Table table_of(GeneralKind kind) {
  switch (kind) {
    case GeneralKind::linear:
      return {linear, millimetre / 2, "Table 1", "nominal"};
    case GeneralKind::edge:
      return {edges, millimetre / 2, "Table 2", "nominal"};
    case GeneralKind::angle:
      break;
  }
  return {angles, 1, "Table 3", "shorter side"};
}

}  // namespace

std::string_view letter(GeneralClass general_class) {
  constexpr std::string_view letters[] = {"f", "m", "c", "v"};
  return letters[static_cast<std::size_t>(general_class)];
}

Expected<GeneralClass> general_class_named(std::string_view found) {
  for (const auto one :
       {GeneralClass::fine, GeneralClass::medium, GeneralClass::coarse, GeneralClass::very_coarse})
    if (letter(one) == found) return one;
  return fail("unknown_class", quoted(found) + " is no class of ISO 2768-1", "class",
              "f (fine), m (medium), c (coarse) or v (very coarse), in small letters");
}

std::string_view name(GeneralKind kind) {
  constexpr std::string_view names[] = {"linear", "edge", "angle"};
  return names[static_cast<std::size_t>(kind)];
}

Expected<GeneralKind> general_kind_named(std::string_view found) {
  for (const auto one : {GeneralKind::linear, GeneralKind::edge, GeneralKind::angle})
    if (name(one) == found) return one;
  return fail("unknown_word", quoted(found) + " is no kind of general tolerance", "kind",
              "\"linear\", \"edge\" (radii and chamfers) or \"angle\"");
}

Expected<Quantity> general_tolerance(Quantity size, GeneralClass general_class, GeneralKind kind) {
  const auto table = table_of(kind);
  const std::string place(table.size_name);
  if (size.dimension() != Dimension::length)
    return fail("wrong_unit", "the " + place + " is a length, not " + std::string(size.unit().name()), place,
                "give it in mm");
  const auto shown = written(size, Unit()).text + " mm";
  if (size.count() < table.least)
    return fail("out_of_range",
                place + " " + shown + " is below " + std::string(table.number) + " of ISO 2768-1", place,
                kind == GeneralKind::angle ? "the shorter side of the angle is above zero"
                                           : "below 0.5 mm the deviation stands at the dimension itself");
  const auto* const row = std::find_if(
      table.rows.data(), table.rows.data() + table.rows.size(),
      [&](const Row& one) { return one.to_mm == no_end || size.count() <= one.to_mm * millimetre; });
  if (row == table.rows.data() + table.rows.size())
    return fail("out_of_range",
                place + " " + shown + " is above " + std::string(table.number) + " of ISO 2768-1", place,
                "it ends at 4000 mm; state the limits at the dimension itself");
  const auto value = row->value[static_cast<std::size_t>(general_class)];
  if (value == no)
    return fail("not_tabulated",
                std::string(table.number) + " of ISO 2768-1 has no class " +
                    std::string(letter(general_class)) + " at " + shown,
                "class",
                general_class == GeneralClass::fine ? "f ends at 2000 mm; take m, c or v"
                                                    : "v begins above 3 mm; take f, m or c");
  if (kind == GeneralKind::angle) return Quantity::of_count(value * arc_minute, *Unit::named("dms"));
  return Quantity::of_count(value * (millimetre / 100), Unit());
}

}  // namespace tallystick
