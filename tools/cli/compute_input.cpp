// The members of a computation's input, and what all answers have in common.
#include <algorithm>
#include <cmath>
#include <numbers>

#include "daemon/measure/limits.hpp"
#include "daemon/measure/rounding.hpp"
#include "tools/cli/computations.hpp"

namespace tallystick::cli {

namespace {

constexpr const char* see_example = "--example prints an input that works";

/// The unit that a member's name ends in.
Unit unit_of(std::string_view key) {
  for (const char* name : {"mm", "deg", "in", "um"})
    if (key.ends_with("_" + std::string(name)) || key == name) return *Unit::named(name);
  return Unit();
}

double as_number(Quantity value) {
  constexpr double counts_a_degree = 3.6e12;
  return value.dimension() == Dimension::angle
             ? static_cast<double>(value.count()) / counts_a_degree * std::numbers::pi / 180
             : in_millimetres(value);
}

}  // namespace

std::optional<std::string> InputFields::optional_text(std::string_view key) {
  asked_.emplace_back(key);
  const auto* value = input_.if_contains(key);
  if (value == nullptr || value->is_null()) return {};
  if (value->is_number()) {
    note({"bare_number",
          "a bare number would pass through binary floating point",
          {},
          "put it in quotes: \"" + boost::json::serialize(*value) + "\""},
         key);
  } else if (!value->is_string()) {
    note({"wrong_type", "a text in quotes is expected", {}, "--example prints an input that works"}, key);
  } else {
    return std::string(value->get_string());
  }
  return std::string();
}

std::string InputFields::text(std::string_view key) {
  const auto found = optional_text(key);
  if (!found)
    note({"missing_field",
          "\"" + std::string(key) + "\" is missing",
          {},
          "--example prints an input that works"},
         key);
  return found.value_or("");
}

Unit InputFields::unit(std::string_view key, const std::string& name) {
  return first_ ? Unit() : taken(key, Unit::named(name));
}

Quantity InputFields::quantity(std::string_view key, const std::string& text, Unit unit) {
  return first_ ? Quantity() : taken(key, Quantity::parse(text, unit));
}

std::optional<Error> InputFields::fault() {
  if (first_) return first_;
  for (const auto& member : input_)
    if (std::find(asked_.begin(), asked_.end(), member.key()) == asked_.end()) {
      std::string known;
      for (const auto& key : asked_) known += (known.empty() ? "" : ", ") + key;
      return Error{"unknown_field", quoted(member.key()) + " is not asked for",
                   place_ + std::string(member.key()), "known here: " + known};
    }
  return {};
}

void InputFields::note(Error error, std::string_view key) {
  if (first_) return;
  error.where = place_ + (error.where.empty() || error.where == key ? std::string(key) : error.where);
  first_ = std::move(error);
}

Quantity InputFields::quantity(std::string_view key) { return quantity(key, text(key), unit_of(key)); }

std::optional<Quantity> InputFields::optional_quantity(std::string_view key) {
  const auto found = optional_text(key);
  if (!found) return {};
  return quantity(key, *found, unit_of(key));
}

double InputFields::number(std::string_view key) { return as_number(quantity(key)); }

std::optional<double> InputFields::optional_number(std::string_view key) {
  const auto found = optional_quantity(key);
  if (!found) return {};
  return as_number(*found);
}

const boost::json::array* InputFields::list(std::string_view key) {
  asked_.emplace_back(key);
  const auto* value = input_.if_contains(key);
  if (value == nullptr) {
    note({"missing_field", "\"" + std::string(key) + "\" is missing", {}, see_example}, key);
    return nullptr;
  }
  if (!value->is_array()) {
    note({"wrong_type", "a list is expected", {}, see_example}, key);
    return nullptr;
  }
  return &value->get_array();
}

std::vector<Quantity> InputFields::quantities(std::string_view key) {
  std::vector<Quantity> out;
  const auto* found = list(key);
  if (found == nullptr) return out;
  for (std::size_t n = 0; n < found->size() && !first_; ++n) {
    const auto place = std::string(key) + "[" + std::to_string(n) + "]";
    const boost::json::object one{{place, (*found)[n]}};
    InputFields fields(one, place_);
    const auto written_there = fields.text(place);
    out.push_back(fields.quantity(place, written_there, unit_of(key)));
    inner(fields);
  }
  return out;
}

std::vector<std::pair<const boost::json::object*, std::string>> InputFields::objects(std::string_view key) {
  std::vector<std::pair<const boost::json::object*, std::string>> out;
  const auto* found = list(key);
  if (found == nullptr) return out;
  for (std::size_t n = 0; n < found->size(); ++n) {
    const auto place = std::string(key) + "[" + std::to_string(n) + "]";
    if ((*found)[n].is_object())
      out.emplace_back(&(*found)[n].get_object(), place_ + place + ".");
    else
      note({"wrong_type", "an object is expected", {}, see_example}, place);
  }
  return out;
}

void InputFields::inner(InputFields& fields) {
  if (first_) return;
  first_ = fields.fault();
}

Done put_length(boost::json::object& out, const std::string& key, double millimetres) {
  const auto value = of_millimetres(millimetres);
  if (!value) return tl::unexpected(value.error());
  out[key + "_mm"] = value->text();
  out[key + "_unrounded_mm"] = millimetres;
  return {};
}

void put_verdict(boost::json::object& out, InputFields& fields, Quantity value,
                 const std::optional<Quantity>& tolerance) {
  if (!tolerance || fields.fault()) return;
  const auto limits = fields.taken("tolerance_mm", Limits::direct({}, *tolerance));
  const auto judgement = fields.taken("tolerance_mm", judge(limits, value));
  if (fields.fault()) return;
  out["tolerance_mm"] = tolerance->text();
  out["verdict"] = name(judgement.verdict);
  out["by_mm"] = judgement.by.text();
}

std::string members_in_words(const boost::json::object& answer) {
  std::string out;
  for (const auto& member : answer) {
    const std::string key(member.key());
    if (key.ends_with("_unrounded_mm") || member.value().is_null()) continue;
    if (!out.empty()) out += '\n';
    const auto& value = member.value();
    out += key + ": " + (value.is_string() ? std::string(value.get_string()) : boost::json::serialize(value));
  }
  return out;
}

int status_of_answer(const boost::json::object& answer) {
  return word(answer, "verdict") == "reject" ? status::no : status::good;
}

}  // namespace tallystick::cli
