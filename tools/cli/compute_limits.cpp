// Limits from the print's own language: fits by ISO 286, general tolerances by ISO 2768-1.
#include "daemon/measure/general_tolerances.hpp"
#include "daemon/measure/iso286.hpp"
#include "tools/cli/computations.hpp"

namespace tallystick::cli {
namespace {

using boost::json::object;

constexpr const char* iso286_edition = "ISO 286-1:2010";
constexpr const char* iso2768_edition = "ISO 2768-1:1989";

std::string mm(Quantity value) { return written(value, Unit()).text; }
std::string deviation_mm(Quantity limit, Quantity nominal) { return mm(*subtract(limit, nominal)); }

void put_limits(object& out, const Limits& limits) {
  out["nominal_mm"] = mm(*limits.nominal);
  out["lower_mm"] = mm(*limits.lower);
  out["upper_mm"] = mm(*limits.upper);
  out["lower_deviation_mm"] = deviation_mm(*limits.lower, *limits.nominal);
  out["upper_deviation_mm"] = deviation_mm(*limits.upper, *limits.nominal);
}

object side_of(const iso286::ToleranceClass& one, const Limits& limits) {
  object out{{"class", one.text()}, {"of", one.hole ? "hole" : "shaft"}};
  put_limits(out, limits);
  out["tolerance_mm"] = deviation_mm(*limits.upper, *limits.lower);
  return out;
}

object pair_of(const iso286::ToleranceClass& hole, const iso286::ToleranceClass& shaft,
               const iso286::Fit& fit) {
  object out{{"nominal_mm", mm(*fit.hole.nominal)},
             {"fit", hole.text() + "/" + shaft.text()},
             {"hole", side_of(hole, fit.hole)},
             {"shaft", side_of(shaft, fit.shaft)},
             {"kind", name(fit.kind)},
             {"min_clearance_mm", mm(fit.least_clearance)},
             {"max_clearance_mm", mm(fit.greatest_clearance)}};
  const Quantity zero;
  if (fit.kind != iso286::FitKind::clearance) {
    out["max_interference_mm"] = deviation_mm(zero, fit.least_clearance);
    if (fit.kind == iso286::FitKind::interference)
      out["min_interference_mm"] = deviation_mm(zero, fit.greatest_clearance);
  }
  return out;
}

Expected<object> fit_worked(const object& input) {
  InputFields fields(input);
  // Either apart, or as the print writes it: {"fit": "25 H7"}.
  const auto apart = fields.optional_text("nominal_mm");
  auto classes = fields.text("fit");
  std::string text = apart.value_or("");
  if (!apart) {
    const auto parts = fields.taken("fit", iso286::taken_apart(classes));
    text = parts.nominal;
    classes = parts.classes;
  }
  const auto odd = fields.optional_text("js_odd");
  const auto halving = odd ? fields.taken("js_odd", iso286::odd_half_named(*odd)) : iso286::OddHalf::exact;
  const auto nominal = fields.quantity(apart ? "nominal_mm" : "fit", text, Unit());
  if (const auto fault = fields.fault()) return tl::unexpected(*fault);
  const auto slash = classes.find('/');
  const auto first = fields.taken("fit", iso286::class_from(classes.substr(0, slash)));
  const auto second =
      slash == std::string::npos ? first : fields.taken("fit", iso286::class_from(classes.substr(slash + 1)));
  if (const auto fault = fields.fault()) return tl::unexpected(*fault);
  object out;
  if (slash == std::string::npos) {
    const auto limits = iso286::limits(nominal, first, halving);
    if (!limits) return tl::unexpected(limits.error());
    out = side_of(first, *limits);
  } else {
    const auto fit = iso286::fit(nominal, first, second, halving);
    if (!fit) return tl::unexpected(fit.error());
    out = pair_of(first, second, *fit);
  }
  out["js_odd"] = name(halving);
  out["standard"] = iso286_edition;
  return out;
}

std::string with_sign(const std::string& deviation) {
  return deviation == "0" || deviation.starts_with('-') ? deviation : "+" + deviation;
}

std::string limits_in_words(const object& side, const std::string& unit) {
  return word(side, "lower_" + unit) + " to " + word(side, "upper_" + unit) + " " + unit + " (" +
         with_sign(word(side, "lower_deviation_" + unit)) + " / " +
         with_sign(word(side, "upper_deviation_" + unit)) + ")";
}

std::string fit_in_words(const object& answer) {
  const auto nominal = word(answer, "nominal_mm") + " ";
  if (!answer.contains("hole")) return nominal + word(answer, "class") + ": " + limits_in_words(answer, "mm");
  const auto& hole = answer.at("hole").as_object();
  const auto& shaft = answer.at("shaft").as_object();
  auto out = nominal + word(answer, "fit") + ": " + word(answer, "kind") + " fit\nhole  " +
             word(hole, "class") + ": " + limits_in_words(hole, "mm") + "\nshaft " + word(shaft, "class") +
             ": " + limits_in_words(shaft, "mm");
  const auto kind = word(answer, "kind");
  if (kind == "clearance")
    return out + "\nclearance " + word(answer, "min_clearance_mm") + " to " +
           word(answer, "max_clearance_mm") + " mm";
  if (kind == "transition")
    return out + "\nfrom interference " + word(answer, "max_interference_mm") + " to clearance " +
           word(answer, "max_clearance_mm") + " mm";
  return out + "\ninterference " + word(answer, "min_interference_mm") + " to " +
         word(answer, "max_interference_mm") + " mm";
}

/// Limits of an angle, where its nominal is given: in degrees or in degrees, minutes and seconds.
void put_angle(InputFields& fields, const std::optional<std::string>& deg,
               const std::optional<std::string>& dms, Quantity tolerance, object& out) {
  const auto unit = *Unit::named("dms");
  if (!deg && !dms) return;
  const auto stated = dms ? fields.quantity("nominal_dms", *dms, unit)
                          : fields.quantity("nominal_deg", *deg, *Unit::named("deg"));
  if (fields.fault()) return;
  const auto nominal = Quantity::of_count(stated.count(), unit);
  const auto limits =
      fields.taken(dms ? "nominal_dms" : "nominal_deg", Limits::plus_minus(nominal, tolerance));
  if (fields.fault()) return;
  out["nominal_dms"] = nominal.text();
  out["lower_dms"] = limits.lower->text();
  out["upper_dms"] = limits.upper->text();
}

Expected<object> angle_worked(InputFields& fields, GeneralClass general_class) {
  const auto text = fields.text("shorter_side_mm");
  const auto deg = fields.optional_text("nominal_deg"), dms = fields.optional_text("nominal_dms");
  const auto side = fields.quantity("shorter_side_mm", text, Unit());
  if (const auto fault = fields.fault()) return tl::unexpected(*fault);
  if (deg && dms)
    return fail("contradiction", "the nominal angle is given twice", "nominal_deg, nominal_dms", "keep one");
  const auto tolerance = general_tolerance(side, general_class, GeneralKind::angle);
  if (!tolerance) return tl::unexpected(tolerance.error());
  object out{{"class", letter(general_class)}, {"kind", "angle"}, {"shorter_side_mm", mm(side)}};
  put_angle(fields, deg, dms, *tolerance, out);
  if (const auto fault = fields.fault()) return tl::unexpected(*fault);
  out["lower_deviation_dms"] = "-" + tolerance->text();
  out["upper_deviation_dms"] = tolerance->text();
  return out;
}

Expected<object> general_worked(const object& input) {
  InputFields fields(input);
  const auto general_class = fields.taken("class", general_class_named(fields.text("class")));
  const auto word = fields.optional_text("kind");
  const auto kind = fields.taken("kind", general_kind_named(word.value_or("linear")));
  Expected<object> out;
  if (kind == GeneralKind::angle) {
    out = angle_worked(fields, general_class);
    if (!out) return out;
  } else {
    const auto text = fields.text("nominal_mm");
    const auto nominal = fields.quantity("nominal_mm", text, Unit());
    if (const auto fault = fields.fault()) return tl::unexpected(*fault);
    const auto tolerance = general_tolerance(nominal, general_class, kind);
    if (!tolerance) return tl::unexpected(tolerance.error());
    const auto limits = Limits::plus_minus(nominal, *tolerance);
    if (!limits) return tl::unexpected(limits.error());
    out = object{{"class", letter(general_class)}, {"kind", name(kind)}};
    put_limits(*out, *limits);
  }
  (*out)["standard"] = iso2768_edition;
  return out;
}

std::string general_in_words(const object& answer) {
  const auto head = "class " + word(answer, "class") + ", " + word(answer, "kind") + ": ";
  if (word(answer, "kind") != "angle") return head + limits_in_words(answer, "mm");
  if (answer.contains("nominal_dms")) return head + limits_in_words(answer, "dms");
  return head + word(answer, "lower_deviation_dms") + " / +" + word(answer, "upper_deviation_dms") +
         " for a shorter side of " + word(answer, "shorter_side_mm") + " mm";
}

}  // namespace

const Computation fit_computation = {"fit",
                                     "Limits of a tolerance class, or of a hole and a shaft (ISO 286)",
                                     R"({"nominal_mm": "25", "fit": "H7/g6", "js_odd": "exact"})",
                                     fit_worked,
                                     fit_in_words,
                                     always_good};

const Computation general_computation = {"general",
                                         "Limits of a dimension without its own (ISO 2768-1)",
                                         R"({"nominal_mm": "25", "class": "m", "kind": "linear"})",
                                         general_worked,
                                         general_in_words,
                                         always_good};

}  // namespace tallystick::cli
