#include "daemon/checklist/family.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <map>

using namespace tallystick;
using namespace tallystick::checklist;

namespace {

// Invented. Lines are counted from 1: tests name them.
const std::string family_text = R"toml([family]
key = "pin"
title = "Pin (invented)"
sizes = "pin.csv"
drawing = "pin.svg"
[columns]
length = "print"
tolerance = "print"
diameter = "print"
es = "um"
ei = "um"
hole = "print"
holes = "number"
name = "text"
[[feature]]
key = "length"
balloon = "1"
name = "length of {name}"
nominal = "length"
plus_minus = "tolerance"
decimals = { mm = 2, in = 4 }
gauge_kind = "height-gauge"
tells_sizes_apart = true
edge = "end"
ruler = "right"
[[feature]]
key = "diameter"
balloon = "2"
name = "diameter"
nominal = "diameter"
lower_deviation = "ei"
upper_deviation = "es"
decimals = 3
gauge_kind = "outside-micrometer"
before = ["runout"]
[[feature]]
key = "hole"
balloon = "3"
name = "hole {n}"
count = 2
only_if = "given(hole)"
lower = "hole"
upper = "hole + 0.1 mm"
gauge_kind = "inside-micrometer"
[[feature]]
key = "runout"
balloon = "4"
name = "runout"
kind = "capture"
unit = "mm"
upper = "0.02"
plausible_lower = "0"
plausible_upper = "0.5"
gauge_kind = "indicator"
[[feature]]
key = "look"
balloon = "5"
name = "look"
kind = "look"
question = "clean?"
[[exception]]
sizes = ["P-20"]
feature = "length"
why = "its housing is shallow"
upper = "length"
lower = "length - 2 * tolerance"
)toml";
const std::string table_text =
    R"(size,print_revision,part_number,print_unit,length,tolerance,diameter,es,ei,hole,holes,name
P-10,A,P-10-A,mm,40,0.1,10,-5,-14,2.5,4,pin ten
P-20,A,P-20-A,mm,60,0.1,20,-7,-20,,4,pin twenty
P-IN,B,P-IN-B,in,2.5,0.004,0.5,-5.08,-15.24,,0,pin inch
)";
const std::string drawing_text = R"(<svg xmlns="http://www.w3.org/2000/svg"><path id="end" d="M0 0"/></svg>)";

struct Read {
  Family family;
  std::vector<Fault> faults;
  const Edition* size(const char* name) const {
    for (const auto& one : family.sizes)
      if (one.edition.size == name) return &one.edition;
    return nullptr;
  }
};

Read read(const std::string& toml = family_text, const std::string& table = table_text) {
  Read out;
  const auto file = [&](const std::string& name) -> Expected<std::string> {
    if (name == "pin.csv") return table;
    if (name == "pin.svg") return drawing_text;
    return fail("cannot_read", "there is no " + name);
  };
  out.family = read_family(toml, "pin.family.toml", file, out.faults);
  return out;
}

std::string with(std::string text, const std::string& before, const std::string& after) {
  const auto at = text.find(before);
  REQUIRE(at != std::string::npos);
  return text.replace(at, before.size(), after);
}

/// "file:line code" of every fault, "; " between.
std::string places(const Read& read) {
  std::string out;
  for (const auto& fault : read.faults)
    out += (out.empty() ? "" : "; ") + fault.file + ":" + std::to_string(fault.line) + " " + fault.code;
  return out;
}

const Feature& feature(const Edition& edition, const char* key) {
  const auto found = std::find_if(edition.features.begin(), edition.features.end(),
                                  [&](const auto& one) { return one.key == key; });
  REQUIRE(found != edition.features.end());
  return *found;
}

}  // namespace

TEST_CASE("a family is worked out for every size, exactly and in the print's unit") {
  const auto result = read();
  for (const auto& fault : result.faults) MESSAGE(text(fault));
  REQUIRE(result.faults.empty());
  REQUIRE(result.family.sizes.size() == 3);
  const auto& ten = *result.size("P-10");
  CHECK(ten.features.size() == 6);
  CHECK(feature(ten, "length").name == "length of pin ten");
  CHECK(feature(ten, "length").lower == "39.90");
  CHECK(feature(ten, "length").plausible_upper == "41.10");
  CHECK(feature(ten, "diameter").lower == "9.986");
  CHECK(feature(ten, "diameter").upper == "9.995");
  CHECK(feature(ten, "diameter").nominal == "10.000");  // outside its limits, as ISO 286 has it
  CHECK(feature(ten, "hole-2").balloon == "3.2");
  CHECK(feature(ten, "hole-2").name == "hole 2");
  CHECK(feature(ten, "hole-2").upper == "2.6");
  CHECK(feature(ten, "runout").lower.empty());
  CHECK(feature(ten, "diameter").before == std::vector<std::string>{"runout"});
  const auto& inch = *result.size("P-IN");
  CHECK(feature(inch, "length").unit == "in");
  CHECK(feature(inch, "length").upper == "2.5040");
  CHECK(feature(inch, "diameter").upper == "0.4998");  // -5.08 um is -0.0002 in exactly
  CHECK(feature(inch, "runout").unit == "mm");
  CHECK(result.size("P-20")->features.size() == 4);  // no hole there
  CHECK(ten.drawing == sha256_hex(drawing_text));
}

TEST_CASE("an exception replaces the limits of one size and says why") {
  const auto result = read();
  const auto& twenty = feature(*result.size("P-20"), "length");
  CHECK(twenty.lower == "59.80");
  CHECK(twenty.upper == "60.00");
  CHECK(twenty.exception == "its housing is shallow");
  CHECK(feature(*result.size("P-10"), "length").exception.empty());
}

TEST_CASE("limits that work out are limits that judge") {
  const auto result = read();
  const auto limits = limits_of(feature(*result.size("P-10"), "diameter"));
  REQUIRE(limits);
  const auto mm = *Unit::named("mm");
  CHECK(judge(*limits, *Quantity::parse("9.995", mm))->verdict == Verdict::accept);
  CHECK(judge(*limits, *Quantity::parse("9.9950001", mm))->verdict == Verdict::reject);
}

TEST_CASE("a bare number where a value is judged is a fault with its quotes as the remedy") {
  const auto result = read(with(family_text, "plus_minus = \"tolerance\"", "plus_minus = 0.10"));
  REQUIRE(places(result) == "pin.family.toml:20 bare_number");
  CHECK(result.faults[0].remedy == "put it in quotes: plus_minus = \"0.10\"");
  CHECK(result.family.sizes.empty());
}

TEST_CASE("an unknown column is told with the column that it may mean") {
  const auto result = read(with(family_text, "nominal = \"length\"", "nominal = \"lenght\""));
  REQUIRE(places(result) == "pin.family.toml:19 unknown_column");
  CHECK(result.faults[0].place == "feature length, nominal");
  CHECK(result.faults[0].remedy == "did you mean \"length\"?");
}

TEST_CASE("an unknown key is told with the key that it may mean") {
  const auto result =
      read(with(family_text, "gauge_kind = \"height-gauge\"", "gauge_kind = \"height-gauge\"\ndecimal = 2"));
  REQUIRE(places(result) == "pin.family.toml:23 unknown_key");
  CHECK(result.faults[0].remedy == "did you mean \"decimals\"?");
}

TEST_CASE("a slip in one row is told at the row, a slip in the formula at the feature") {
  const auto row = read(family_text, with(table_text, "P-10,A,P-10-A,mm,40,0.1,10,-5,-14",
                                          "P-10,A,P-10-A,mm,40,0.1,10,-14,-5"));
  REQUIRE(places(row) == "pin.csv:2 limits_crossed");
  CHECK(row.faults[0].place == "feature diameter");
  CHECK(row.family.sizes.size() == 2);  // the others are served
  const auto formula = read(with(with(family_text, "lower_deviation = \"ei\"", "lower_deviation = \"es\""),
                                 "upper_deviation = \"es\"", "upper_deviation = \"ei\""));
  REQUIRE(places(formula) == "pin.family.toml:26 limits_crossed");
  CHECK(formula.faults[0].what.find("at size P-10 (pin.csv:2) and at all others") != std::string::npos);
  CHECK(formula.family.sizes.empty());
}

TEST_CASE("a nominal outside stated limits is a fault") {
  const auto result =
      read(with(family_text, "lower = \"hole\"\n", "lower = \"hole\"\nnominal = \"hole - 1 mm\"\n"));
  CHECK(places(result) == "pin.family.toml:36 nominal_outside");
}

TEST_CASE("a fraction that no count holds is told with round as the remedy") {
  const auto result = read(with(family_text, "nominal = \"length\"", "nominal = \"length / 7\""));
  REQUIRE_FALSE(result.faults.empty());
  CHECK(places(result).starts_with("pin.family.toml:19 not_whole"));
  CHECK(result.faults[0].what.find("40/7 mm") != std::string::npos);
  CHECK(result.faults[0].remedy.find("round(") != std::string::npos);
}

TEST_CASE("a one-sided feature states what could be") {
  const auto result = read(with(family_text, "plausible_upper = \"0.5\"\n", ""));
  CHECK(places(result) == "pin.family.toml:45 no_plausible_range");
}

TEST_CASE("a plausible range has to hold the limits") {
  const auto result = read(with(family_text, "plausible_upper = \"0.5\"", "plausible_upper = \"0.01\""));
  CHECK(places(result) == "pin.family.toml:45 limits_crossed");
}

TEST_CASE("a feature states its limits in one way, and in one at least") {
  CHECK(places(read(with(family_text, "upper = \"0.02\"\n", ""))) == "pin.family.toml:45 no_limits");
  CHECK(places(read(with(family_text, "upper = \"0.02\"\n",
                         "upper = \"0.02\"\nnominal = \"0\"\nplus_minus = \"0.02\"\n"))) ==
        "pin.family.toml:45 contradiction");
}

TEST_CASE("keys and balloons stand once") {
  CHECK(places(read(with(family_text, "balloon = \"2\"", "balloon = \"1\""))) ==
        "pin.family.toml:26 double_balloon");
  CHECK(places(read(with(family_text, "key = \"look\"", "key = \"hole\""))) ==
        "pin.family.toml:55 double_key");
  CHECK(places(read(with(family_text, "key = \"look\"", "key = \"Look 1\""))) == "pin.family.toml:56 bad_id");
}

TEST_CASE("what must come later exists, and nothing waits for itself") {
  CHECK(places(read(with(family_text, "[\"runout\"]", "[\"runnout\"]"))) ==
        "pin.family.toml:26 unknown_feature");
  const auto ring =
      read(with(family_text, "kind = \"capture\"", "kind = \"capture\"\nbefore = [\"diameter\"]"));
  CHECK(places(ring) == "pin.family.toml:26 ring");
}

TEST_CASE("an edge is an id of the drawing, and has a direction") {
  const auto result = read(with(family_text, "edge = \"end\"", "edge = \"ende\""));
  REQUIRE(places(result) == "pin.family.toml:15 unknown_edge");
  CHECK(result.faults[0].remedy == "did you mean \"end\"?");
  CHECK(places(read(with(family_text, "ruler = \"right\"\n", ""))) == "pin.family.toml:24 contradiction");
}

TEST_CASE("columns are declared, and declared columns exist") {
  CHECK(places(read(with(family_text, "holes = \"number\"\n", ""))) == "pin.csv:1 undeclared_column");
  CHECK(places(read(with(family_text, "holes = \"number\"", "holes = \"number\"\nslots = \"number\""))) ==
        "pin.family.toml:14 unknown_column");
  CHECK(places(read(with(family_text, "es = \"um\"", "es = \"micron\"")))
            .starts_with("pin.family.toml:10 unknown_unit"));
}

TEST_CASE("where prints differ in their unit a decimal needs one") {
  const auto result = read(with(family_text, "upper = \"hole + 0.1 mm\"", "upper = \"hole + 0.1\""));
  CHECK(places(result) == "pin.family.toml:43 bare_decimal");
  const auto alike = read(with(family_text, "upper = \"hole + 0.1 mm\"", "upper = \"hole + 0.1\""),
                          with(table_text, "P-IN,B,P-IN-B,in,2.5,0.004,0.5,-5.08,-15.24,,0,pin inch\n", ""));
  CHECK(alike.faults.empty());
}

TEST_CASE("a cell that is no value, or no unit, is told at its line and column") {
  const auto cell = read(family_text, with(table_text, "mm,60,0.1", "mm,6o,0.1"));
  REQUIRE(places(cell) == "pin.csv:3 not_a_decimal");
  CHECK(cell.faults[0].place == "column length");
  CHECK(places(read(family_text, with(table_text, "P-20-A,mm", "P-20-A,m m"))) == "pin.csv:3 unknown_unit");
  const auto empty = read(family_text, with(table_text, "mm,60,0.1", "mm,,0.1"));
  CHECK(places(empty) == "pin.csv:3 empty_cell");
}

TEST_CASE("texts are filled in from the row; a name that is no column is told") {
  const auto result = read(with(family_text, "{name}", "{nane}"));
  REQUIRE(places(result) == "pin.family.toml:15 unknown_column");
  CHECK(result.faults[0].remedy == "did you mean \"name\"?");
}

TEST_CASE("an exception names a size and a feature that exist, and a reason") {
  CHECK(places(read(with(family_text, "sizes = [\"P-20\"]", "sizes = [\"P-21\"]"))) ==
        "pin.family.toml:61 unknown_size");
  CHECK(places(read(with(family_text, "feature = \"length\"", "feature = \"lenth\""))) ==
        "pin.family.toml:61 unknown_feature");
  CHECK(places(read(with(family_text, "why = \"its housing is shallow\"\n", ""))) ==
        "pin.family.toml:61 missing_key");
}

TEST_CASE("all faults of all files are told at once") {
  auto toml = with(family_text, "plus_minus = \"tolerance\"", "plus_minus = 0.1");
  toml = with(toml, "balloon = \"2\"", "balloon = \"1\"");
  toml = with(toml, "question = \"clean?\"\n", "");
  const auto result = read(toml, with(table_text, "mm,60,0.1", "mm,6o,0.1"));
  CHECK(places(result) ==
        "pin.csv:3 not_a_decimal; pin.family.toml:20 bare_number; pin.family.toml:26 double_balloon; "
        "pin.family.toml:55 missing_key");
}

TEST_CASE("a text that is no TOML is told with its line") {
  const auto result = read(with(family_text, "balloon = \"2\"", "balloon = \"2"));
  REQUIRE(result.faults.size() == 1);
  CHECK(result.faults[0].code == "not_toml");
  CHECK(result.faults[0].line == 28);
}

TEST_CASE("a size table or drawing that cannot be read is told, not fatal") {
  CHECK(places(read(with(family_text, "pin.csv", "pen.csv"))).starts_with("pin.family.toml:1 cannot_read"));
  CHECK(places(read(with(family_text, "pin.svg", "pen.svg"))).starts_with("pin.family.toml:1 cannot_read"));
}

TEST_CASE("sizes that nothing asked first tells apart are warned of") {
  const auto table = table_text + "P-10L,A,P-10L-A,mm,42,0.1,10,-5,-14,2.5,4,pin ten long\n";
  CHECK(read(family_text, table).faults.empty());
  const auto unmarked = read(with(family_text, "tells_sizes_apart = true\n", ""), table);
  REQUIRE(places(unmarked) == "pin.csv:5 alike_sizes");
  CHECK(unmarked.faults[0].severity == Severity::warning);
  CHECK(unmarked.faults[0].remedy.find("\"length\"") != std::string::npos);
  CHECK(unmarked.family.sizes.size() == 4);
  const auto twin = read(family_text, table_text + "P-10B,A,P-10B-A,mm,40,0.1,10,-5,-14,2.5,4,twin\n");
  REQUIRE(places(twin) == "pin.csv:5 alike_sizes");
  CHECK(twin.faults[0].remedy.find("marking") != std::string::npos);
}

TEST_CASE("limits by symbol: the print's fit becomes the edition's exact limits") {
  // Deviations of ISO 286-1:2010 (tests/reference/data): 10 g6 -5/-14, 20 g6 -7/-20 um, as the table states
  // them.
  const std::string stated = "lower_deviation = \"ei\"\nupper_deviation = \"es\"\n";
  const std::string exception =
      "[[exception]]\nsizes = [\"P-IN\"]\nfeature = \"diameter\"\nwhy = \"stated in inches\"\n" + stated;
  const auto old = read();
  const auto by_symbol = read(with(family_text, stated, "fit = \"g6\"\n") + exception);
  for (const auto& fault : by_symbol.faults) FAIL_CHECK(text(fault));
  for (const char* size : {"P-10", "P-20"}) {
    CAPTURE(size);
    REQUIRE(by_symbol.size(size) != nullptr);
    CHECK(to_json_text(*by_symbol.size(size)) == to_json_text(*old.size(size)));
  }
  const auto& inch = feature(*by_symbol.size("P-IN"), "diameter");
  CHECK(inch.lower == feature(*old.size("P-IN"), "diameter").lower);
  CHECK(inch.exception == "stated in inches");
  // The nominal may lie outside; the class may stand in a column.
  const auto pressed = read(with(family_text, stated, "fit = \"{name}\"\n") + exception,
                            with(with(table_text, "pin ten", "p6"), "pin twenty", "js7"));
  for (const auto& fault : pressed.faults) FAIL_CHECK(text(fault));
  CHECK(feature(*pressed.size("P-10"), "diameter").lower == "10.015");
  CHECK(feature(*pressed.size("P-10"), "diameter").nominal == "10.000");
  CHECK(feature(*pressed.size("P-20"), "diameter").upper == "20.0105");
  const auto even = read(with(family_text, stated, "fit = \"js7\"\njs_odd = \"even-below\"\n") + exception);
  CHECK(feature(*even.size("P-20"), "diameter").upper == "20.010");
}

TEST_CASE("a fit that cannot be worked out is told with line and remedy") {
  const std::string stated = "lower_deviation = \"ei\"\nupper_deviation = \"es\"\n";
  const auto fit = [&](const std::string& lines) { return places(read(with(family_text, stated, lines))); };
  CHECK(fit("fit = \"q6\"\n") == "pin.family.toml:31 unknown_letter");
  CHECK(fit("fit = \"g19\"\n") == "pin.family.toml:31 unknown_grade");
  CHECK(fit("fit = \"g6\"\ngeneral = \"m\"\n") == "pin.family.toml:26 contradiction");
  CHECK(fit("fit = \"g6\"\n" + stated) == "pin.family.toml:26 contradiction");
  CHECK(fit("fit = \"g6\"\njs_odd = \"up\"\n") == "pin.family.toml:32 unknown_word");
  CHECK(fit("fit = \"{nam}6\"\n") == "pin.family.toml:31 unknown_column");
  CHECK(fit("fit = \"cd6\"\n") == "pin.csv:3 not_tabulated; pin.csv:4 not_tabulated");
  // Its nominal is there, but the table's micrometres have no finite decimal in inches.
  const auto inch = read(with(family_text, stated, "fit = \"g6\"\n"));
  CHECK(places(inch) == "pin.csv:4 not_exact");
  CHECK(inch.faults[0].remedy.find("as the print does") != std::string::npos);
  CHECK(places(read(with(with(family_text, stated, "fit = \"g6\"\n"), "nominal = \"diameter\"\n", ""))) ==
        "pin.family.toml:26 missing_key");
}

TEST_CASE("general tolerances of ISO 2768-1 for a length, a broken edge and an angle") {
  const std::string runout = "upper = \"0.02\"\nplausible_lower = \"0\"\nplausible_upper = \"0.5\"\n";
  const auto limits = [&](const std::string& lines) {
    const auto result = read(with(family_text, runout, lines));
    for (const auto& fault : result.faults) FAIL_CHECK(text(fault));
    REQUIRE(result.size("P-10") != nullptr);
    const auto& one = feature(*result.size("P-10"), "runout");
    return one.lower + ".." + one.upper;
  };
  CHECK(limits("nominal = \"25\"\ngeneral = \"m\"\n") == "24.8..25.2");
  CHECK(limits("nominal = \"2\"\ngeneral = \"m\"\ngeneral_kind = \"edge\"\n") == "1.8..2.2");
  const std::string angle = "nominal = \"30 deg\"\ngeneral = \"m\"\ngeneral_kind = \"angle\"\n";
  const auto of_angle = read(with(with(family_text, runout, angle + "shorter_side = \"25 mm\"\n"),
                                  "unit = \"mm\"\n", "unit = \"dms\"\n"));
  for (const auto& fault : of_angle.faults) FAIL_CHECK(text(fault));
  CHECK(feature(*of_angle.size("P-10"), "runout").lower == "29d30m0s");
  CHECK(feature(*of_angle.size("P-10"), "runout").upper == "30d30m0s");
  const auto told = [&](const std::string& lines) { return places(read(with(family_text, runout, lines))); };
  CHECK(told("nominal = \"25\"\ngeneral = \"x\"\n") == "pin.family.toml:52 unknown_class");
  CHECK(told("nominal = \"0.2\"\ngeneral = \"m\"\n") == "pin.family.toml:52 out_of_range");
  CHECK(told("nominal = \"25\"\ngeneral = \"m\"\ngeneral_kind = \"angle\"\n") ==
        "pin.family.toml:52 missing_key");
  CHECK(told("nominal = \"25\"\ngeneral = \"m\"\nshorter_side = \"2 mm\"\n") ==
        "pin.family.toml:53 contradiction");
}
