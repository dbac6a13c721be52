#include "daemon/measure/formula_text.hpp"

#include <muParser.h>

#include <algorithm>

#include "daemon/measure/proposal.hpp"

namespace tallystick::derive {
namespace {

constexpr std::size_t longest_formula = 1000, longest_name = 40;

bool is_letter(char c) { return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || c == '_'; }
bool is_digit(char c) { return c >= '0' && c <= '9'; }
bool is_identifier(std::string_view text) {
  return !text.empty() && is_letter(text.front()) &&
         std::all_of(text.begin(), text.end(), [](char c) { return is_letter(c) || is_digit(c); });
}

/// The word, the number or the sign at a place.
std::string_view standing_at(std::string_view text, std::size_t place) {
  if (place >= text.size()) return {};
  std::size_t end = place + 1;
  if (is_letter(text[place]) || is_digit(text[place]))
    while (end < text.size() && (is_letter(text[end]) || is_digit(text[end]))) ++end;
  return text.substr(place, end - place);
}

tl::unexpected<Error> fault_at(std::string_view text, std::size_t place, const std::string& what,
                               std::string code, std::string hint) {
  const auto there = standing_at(text, place);
  const auto where = there.empty() ? std::string("at its end")
                                   : "at character " + std::to_string(place + 1) + ", " + quoted(there);
  return fail(std::move(code), where + ": " + what, "formula", std::move(hint));
}

constexpr const char* ordinary =
    "numbers with a point, the inputs' names, + - * / ^ ( ), and functions such as sqrt, sin, abs, min, max";

/// What no formula may hold, before the library sees it: bytes outside ASCII, texts, assignments.
Done sound(std::string_view text) {
  if (text.find_first_not_of(" \t") == std::string_view::npos)
    return fail("bad_formula", "the formula is empty", "formula", "write it over the inputs' names");
  if (text.size() > longest_formula)
    return fail("bad_formula",
                "the formula has " + std::to_string(text.size()) + " characters, at most " +
                    std::to_string(longest_formula) + " are taken",
                "formula", "split it into two features");
  for (std::size_t n = 0; n < text.size(); ++n) {
    const char c = text[n];
    if ((c < 0x20 && c != '\t') || c > 0x7e || c == '"' || c == '#' || c == '\'')
      return fault_at(text, n, "this does not belong into a formula", "bad_formula", ordinary);
    if (c != '=') continue;
    const bool compares = (n > 0 && std::string_view("<>!=").find(text[n - 1]) != std::string_view::npos) ||
                          (n + 1 < text.size() && text[n + 1] == '=');
    if (!compares)
      return fault_at(text, n, "a formula assigns nothing", "bad_formula",
                      "write == where two values are compared");
  }
  return {};
}

/// All names that the library itself knows.
std::vector<std::string> library_names() {
  std::vector<std::string> out;
  const mu::Parser parser;
  for (const auto& [name, function] : parser.GetFunDef()) out.push_back(name);
  for (const auto& [name, value] : parser.GetConst()) out.push_back(name);
  return out;
}

std::string in_words(mu::EErrorCodes code) {
  switch (code) {
    case mu::ecUNEXPECTED_OPERATOR:
      return "no operator is expected here";
    case mu::ecUNEXPECTED_EOF:
      return "the formula ends too soon";
    case mu::ecUNEXPECTED_ARG_SEP:
      return "no comma is expected here";
    case mu::ecUNEXPECTED_ARG:
      return "no argument is expected here";
    case mu::ecUNEXPECTED_VAL:
      return "no value is expected here";
    case mu::ecUNEXPECTED_VAR:
      return "no name is expected here";
    case mu::ecUNEXPECTED_PARENS:
      return "no parenthesis is expected here";
    case mu::ecUNEXPECTED_STR:
      return "no text is expected here";
    case mu::ecUNEXPECTED_FUN:
      return "no function is expected here";
    case mu::ecMISSING_PARENS:
      return "a parenthesis is missing";
    case mu::ecTOO_MANY_PARAMS:
      return "the function takes fewer arguments";
    case mu::ecTOO_FEW_PARAMS:
      return "the function takes more arguments";
    case mu::ecUNEXPECTED_CONDITIONAL:
      return "a colon without its question mark";
    case mu::ecMISSING_ELSE_CLAUSE:
      return "the colon of ? : is missing";
    default:
      break;
  }
  return "this cannot be read";
}

tl::unexpected<Error> told(const mu::ParserError& error, std::string_view text,
                           const std::vector<std::string>& names) {
  const int found = error.GetPos();
  const auto place = found < 0 ? text.size() : std::min(static_cast<std::size_t>(found), text.size());
  const auto there = standing_at(text, place);
  if (error.GetCode() == mu::ecUNASSIGNABLE_TOKEN && is_identifier(there)) {
    auto library = library_names();
    library.insert(library.end(), names.begin(), names.end());
    std::vector<std::string_view> near(library.begin(), library.end()), known(names.begin(), names.end());
    const auto meant = nearest_name(there, near);
    return fault_at(text, place, "this is no input and no function", "unknown_name",
                    meant.empty() ? proposal_of(there, known) : "did you mean " + quoted(meant) + "?");
  }
  return fault_at(text, place, in_words(error.GetCode()), "bad_formula", ordinary);
}

tl::unexpected<Error> library_failed() {
  return fail("bad_formula", "the formula cannot be worked out", "formula", ordinary);
}

}  // namespace

struct FormulaText::Parts {
  std::string text;
  std::vector<std::string> names;
  std::vector<double> values;  // the parser holds their addresses: never resized
  mu::Parser parser;
};

FormulaText::FormulaText(std::unique_ptr<Parts> parts) : parts_(std::move(parts)) {}
FormulaText::FormulaText(FormulaText&&) noexcept = default;
FormulaText& FormulaText::operator=(FormulaText&&) noexcept = default;
FormulaText::~FormulaText() = default;

std::string FormulaText::fault_of_name(std::string_view name) {
  if (!is_identifier(name) || name.size() > longest_name)
    return "a name in a formula is letters, digits and _, not beginning with a digit, at most " +
           std::to_string(longest_name);
  const auto library = library_names();
  if (std::find(library.begin(), library.end(), name) != library.end())
    return "it is the name of a function or a constant";
  return {};
}

Expected<FormulaText> FormulaText::read(std::string_view text, std::vector<std::string> names) {
  if (auto done = sound(text); !done) return tl::unexpected(done.error());
  auto parts = std::make_unique<Parts>();
  parts->text = std::string(text);
  parts->names = std::move(names);
  parts->values.assign(parts->names.size(), 1);
  try {
    // As it is written: a folded constant could differ in its last bit from one version of the library to the
    // next.
    parts->parser.EnableOptimizer(false);
    for (std::size_t n = 0; n < parts->names.size(); ++n)
      parts->parser.DefineVar(parts->names[n], &parts->values[n]);
    parts->parser.SetExpr(parts->text);
    static_cast<void>(parts->parser.Eval());
    if (parts->parser.GetNumResults() != 1)
      return fail("bad_formula", "the formula gives several values, separated by commas", "formula",
                  "write one");
  } catch (const mu::ParserError& error) {
    return told(error, text, parts->names);
  } catch (const std::exception&) {
    return library_failed();
  }
  return FormulaText(std::move(parts));
}

Expected<double> FormulaText::at(std::span<const double> values) {
  std::copy_n(values.begin(), std::min(values.size(), parts_->values.size()), parts_->values.begin());
  try {
    return parts_->parser.Eval();
  } catch (const mu::ParserError& error) {
    return told(error, parts_->text, parts_->names);
  } catch (const std::exception&) {
    return library_failed();
  }
}

}  // namespace tallystick::derive
