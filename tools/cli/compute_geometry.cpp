// Position, coaxiality, runout, parallelism, perpendicularity: exact, from what hand gauges read.
#include "daemon/measure/geometric.hpp"
#include "tools/cli/computations.hpp"

namespace tallystick::cli {
namespace {

using boost::json::object;

void put_judgement(object& out, const Judgement& judgement) {
  out["verdict"] = name(judgement.verdict);
  out["by_mm"] = judgement.by.text();
}

Expected<object> position_worked(const object& input) {
  InputFields fields(input);
  const auto dx = fields.quantity("dx_mm"), dy = fields.quantity("dy_mm"),
             tolerance = fields.quantity("tolerance_mm");
  const auto word_of_material = fields.optional_text("material");
  const auto material =
      fields.taken("material", geometric::material_named(word_of_material.value_or("regardless")));
  geometric::Size size;
  const bool with_size = input.contains("size_mm");
  if (with_size) {
    size.actual = fields.quantity("size_mm");
    const auto kind = fields.text("of");
    size.hole = kind != "shaft";
    if (kind != "hole" && kind != "shaft" && !fields.fault())
      return fail("unknown_word", quoted(kind) + " is neither hole nor shaft", "of", "hole or shaft");
    const auto lower = fields.quantity("lower_mm"), upper = fields.quantity("upper_mm");
    if (!fields.fault()) size.limits = fields.taken("lower_mm, upper_mm", Limits::direct(lower, upper));
  }
  if (const auto fault = fields.fault()) return tl::unexpected(*fault);
  const auto found = geometric::position(dx, dy, tolerance, material, with_size ? &size : nullptr);
  if (!found) return tl::unexpected(found.error());
  object out{{"position_mm", found->deviation.text()},
             {"bonus_mm", found->bonus.text()},
             {"tolerance_mm", found->tolerance.text()},
             {"material", name(material)}};
  put_judgement(out, found->judgement);
  if (with_size) out["size"] = found->size_accepts ? "accept" : "reject";
  if (!found->size_accepts) out["verdict"] = "reject";
  out["working"] = "2 sqrt(dx^2 + dy^2), judged by the squares; tolerance " + tolerance.text() + " + bonus " +
                   found->bonus.text();
  out["standard"] = "ISO 1101:2017, ASME Y14.5-2009";
  return out;
}

Expected<object> coaxiality_worked(const object& input) {
  InputFields fields(input);
  const auto asked = fields.optional_text("asked");
  if (asked && *asked == "concentricity") return tl::unexpected(geometric::concentricity_refused());
  const auto tolerance = fields.quantity("tolerance_mm");
  std::vector<geometric::Offset> sections;
  for (const auto& [one, place] : fields.objects("sections")) {
    InputFields section(*one, place);
    sections.push_back({section.quantity("dx_mm"), section.quantity("dy_mm")});
    fields.inner(section);
  }
  if (const auto fault = fields.fault()) return tl::unexpected(*fault);
  const auto found = geometric::coaxiality(sections, tolerance);
  if (!found) return tl::unexpected(found.error());
  object out{{"coaxiality_mm", found->deviation.text()},
             {"sections", found->sections},
             {"worst_section", found->worst + 1},
             {"tolerance_mm", tolerance.text()}};
  put_judgement(out, found->judgement);
  out["working"] = "2 times the greatest eccentricity of " + std::to_string(found->sections) +
                   " sections; between them nothing was measured";
  out["standard"] = "ISO 1101:2017";
  return out;
}

Expected<object> runout_worked(const object& input) {
  InputFields fields(input);
  const auto tolerance = fields.optional_quantity("tolerance_mm");
  const auto kind = fields.optional_text("kind").value_or("circular");
  if (kind != "circular" && kind != "total")
    return fail("unknown_word", quoted(kind) + " is no kind of runout", "kind", "circular or total");
  std::vector<std::vector<Quantity>> sections;
  for (const auto& [one, place] : fields.objects("sections")) {
    InputFields section(*one, place);
    sections.push_back(section.quantities("readings_mm"));
    fields.inner(section);
  }
  if (const auto fault = fields.fault()) return tl::unexpected(*fault);
  const auto found = geometric::runout(sections);
  if (!found) return tl::unexpected(found.error());
  object out{{"circular_mm", found->circular.text()},
             {"total_mm", found->total.text()},
             {"kind", kind},
             {"sections", sections.size()},
             {"worst_section", found->worst_section + 1}};
  put_verdict(out, fields, kind == "total" ? found->total : found->circular, tolerance);
  if (const auto fault = fields.fault()) return tl::unexpected(*fault);
  out["working"] =
      kind == "total" ? "greatest less least reading of all sections" : "greatest of the sections' spans";
  out["standard"] = "ISO 1101:2017";
  return out;
}

Expected<object> parallelism_worked(const object& input) {
  InputFields fields(input);
  const auto tolerance = fields.optional_quantity("tolerance_mm");
  const auto heights = fields.quantities("heights_mm");
  if (const auto fault = fields.fault()) return tl::unexpected(*fault);
  const auto found = geometric::parallelism(heights);
  if (!found) return tl::unexpected(found.error());
  object out{{"parallelism_mm", found->text()}, {"points", heights.size()}};
  put_verdict(out, fields, *found, tolerance);
  if (const auto fault = fields.fault()) return tl::unexpected(*fault);
  out["working"] = "greatest less least height; the datum face lies on the plate";
  out["standard"] = "ISO 1101:2017";
  return out;
}

Expected<object> perpendicularity_worked(const object& input) {
  InputFields fields(input);
  const auto tolerance = fields.optional_quantity("tolerance_mm");
  const auto low = fields.quantity("low_mm"), high = fields.quantity("high_mm"),
             distance = fields.quantity("distance_mm"), length = fields.quantity("length_mm");
  if (const auto fault = fields.fault()) return tl::unexpected(*fault);
  const auto found = geometric::perpendicularity(low, high, distance, length);
  if (!found) return tl::unexpected(found.error());
  object out{{"perpendicularity_mm", found->text()}};
  put_verdict(out, fields, *found, tolerance);
  if (const auto fault = fields.fault()) return tl::unexpected(*fault);
  out["working"] = "difference of the two readings, from their distance to the whole length";
  out["standard"] = "ISO 1101:2017";
  return out;
}

}  // namespace

const Computation position_computation = {
    "position",
    "Position of an axis, with a bonus at maximum or least material (ISO 1101, ASME Y14.5)",
    R"({"dx_mm": "0.05", "dy_mm": "-0.03", "tolerance_mm": "0.1", "material": "maximum", "of": "hole", "size_mm": "10.04", "lower_mm": "10", "upper_mm": "10.1"})",
    position_worked,
    members_in_words,
    status_of_answer};

const Computation coaxiality_computation = {
    "coaxiality",
    "Coaxiality from the eccentricity of sections (ISO 1101)",
    R"({"tolerance_mm": "0.02", "sections": [{"dx_mm": "0.003", "dy_mm": "0.004"}, {"dx_mm": "-0.006", "dy_mm": "0.006"}]})",
    coaxiality_worked,
    members_in_words,
    status_of_answer};

const Computation runout_computation = {
    "runout",
    "Circular and total runout from indicator readings (ISO 1101)",
    R"({"kind": "circular", "tolerance_mm": "0.05", "sections": [{"readings_mm": ["0.03", "-0.01", "0.00"]}, {"readings_mm": ["0.02", "0.01", "0.005"]}]})",
    runout_worked,
    members_in_words,
    status_of_answer};

const Computation parallelism_computation = {
    "parallelism",
    "Parallelism of a face from heights over the plate (ISO 1101)",
    R"({"tolerance_mm": "0.02", "heights_mm": ["31.990", "32.003", "31.995"]})",
    parallelism_worked,
    members_in_words,
    status_of_answer};

const Computation perpendicularity_computation = {
    "perpendicularity",
    "Perpendicularity to the plate from an indicator at two heights (ISO 1101)",
    R"({"tolerance_mm": "0.02", "low_mm": "0.002", "high_mm": "0.012", "distance_mm": "40", "length_mm": "60"})",
    perpendicularity_worked,
    members_in_words,
    status_of_answer};

}  // namespace tallystick::cli
