// What holds for every fit and general tolerance, over random sizes and classes. 10,000 cases each, from a
// seed that is printed when a property fails.
#include <doctest/doctest.h>
#include <rapidcheck.h>

#include <optional>
#include <sstream>

#include "daemon/measure/general_tolerances.hpp"
#include "daemon/measure/iso286.hpp"

using namespace tallystick;
using namespace tallystick::iso286;

namespace {

// Its own number of cases, whatever the program's other properties ask for; the seed is the program's
// (RC_PARAMS).
template <class Property>
void holds(const char* what, Property property) {
  auto parameters = rc::detail::configuration().testParams;
  parameters.maxSuccess = 10'000;
  rc::detail::TestMetadata about;
  about.description = what;
  const auto result = rc::detail::checkTestable(property, about, parameters);
  std::ostringstream told;
  rc::detail::printResultMessage(result, told);
  CHECK_MESSAGE(result.template is<rc::detail::SuccessResult>(), what << ", seed " << parameters.seed << "\n"
                                                                      << told.str());
}

constexpr std::int64_t most = 3150LL * 1'000'000'000;

rc::Gen<Quantity> any_nominal() {
  return rc::gen::map(rc::gen::inRange<std::int64_t>(1, most + 1), [](std::int64_t count) {
    // Half of them where most parts are: below 50 mm.
    return Quantity::of_count(count % 2 == 0 ? count : 1 + count / 63, Unit());
  });
}
rc::Gen<std::string> any_small_letters() {
  return rc::gen::element<std::string>("a", "b", "c", "cd", "d", "e", "ef", "f", "fg", "g", "h", "j", "js",
                                       "k", "m", "n", "p", "r", "s", "t", "u", "v", "x", "y", "z", "za", "zb",
                                       "zc");
}
std::string capitals(std::string letters) {
  for (auto& letter : letters) letter = static_cast<char>(letter - 'a' + 'A');
  return letters;
}
rc::Gen<int> any_place() { return rc::gen::inRange(0, 20); }

}  // namespace

TEST_CASE("properties of ISO 286: width, mirror, text, order of grades") {
  holds("upper minus lower is the grade's tolerance, whatever the letters", [] {
    const auto nominal = *any_nominal();
    const auto letters = *any_small_letters();
    const bool hole = *rc::gen::arbitrary<bool>();
    const ToleranceClass one{hole, hole ? capitals(letters) : letters, *any_place()};
    const auto found = deviations(nominal, one);
    if (!found) {
      RC_ASSERT(found.error().code == "not_tabulated");
      RC_ASSERT(!found.error().where.empty() && !found.error().hint.empty());
      return;
    }
    RC_ASSERT(found->upper.count() - found->lower.count() ==
              standard_tolerance(nominal, one.grade_place)->count());
    const auto sizes = limits(nominal, one);
    if (sizes) RC_ASSERT(*sizes->lower > Quantity());
  });
  holds("holes A to H are the mirror of shafts a to h", [] {
    const auto nominal = *any_nominal();
    const auto letters = *rc::gen::element<std::string>("a", "b", "c", "d", "e", "f", "g", "h", "js");
    const auto place = *any_place();
    const auto hole = deviations(nominal, {true, capitals(letters), place});
    const auto shaft = deviations(nominal, {false, letters, place});
    RC_ASSERT(hole.has_value() == shaft.has_value());
    if (!hole) return;
    RC_ASSERT(hole->lower.count() == -shaft->upper.count());
    RC_ASSERT(hole->upper.count() == -shaft->lower.count());
  });
  holds("a class is read as it is written, and so is a size with it", [] {
    const auto letters = *any_small_letters();
    const bool hole = *rc::gen::arbitrary<bool>();
    const ToleranceClass one{hole, hole ? capitals(letters) : letters, *any_place()};
    const auto read = class_from(one.text());
    RC_ASSERT(read && *read == one);
    const auto nominal = *any_nominal();
    const auto apart = taken_apart(nominal.text() + (hole ? " " : "") + one.text());
    RC_ASSERT(apart && apart->nominal == nominal.text() && apart->classes == one.text());
  });
  holds("a coarser grade is wider at one size, a larger size not narrower in one grade", [] {
    const auto nominal = *any_nominal(), other = *any_nominal();
    const auto place = *rc::gen::inRange(0, 19);
    const auto fine = standard_tolerance(nominal, place), coarse = standard_tolerance(nominal, place + 1);
    if (!fine) return;
    RC_ASSERT(*coarse > *fine);
    const auto there = standard_tolerance(other, place);
    if (there && nominal < other) RC_ASSERT(*fine <= *there);
  });
}

TEST_CASE("properties of a pair: its kind, and its clearances against the sizes") {
  holds("clearances are differences of limits; the kind follows their signs", [] {
    const auto nominal = *any_nominal();
    const ToleranceClass hole{true, capitals(*any_small_letters()), *any_place()};
    const ToleranceClass shaft{false, *any_small_letters(), *any_place()};
    const auto pair = fit(nominal, hole, shaft);
    if (!pair) return;
    // Any part inside its limits against any other: here the corners.
    for (const auto bore : {*pair->hole.lower, *pair->hole.upper})
      for (const auto pin : {*pair->shaft.lower, *pair->shaft.upper}) {
        const auto clearance = *subtract(bore, pin);
        RC_ASSERT(pair->least_clearance <= clearance && clearance <= pair->greatest_clearance);
        if (pair->kind == FitKind::clearance) RC_ASSERT(clearance.count() >= 0);
        if (pair->kind == FitKind::interference) RC_ASSERT(clearance.count() <= 0);
      }
    if (pair->kind == FitKind::transition)
      RC_ASSERT(pair->least_clearance.count() < 0 && pair->greatest_clearance.count() > 0);
  });
}

TEST_CASE("a value judged against limits by symbol: the same verdict in millimetres and in inches") {
  const auto inch = *Unit::named("in");
  holds("mm and inch verdicts are alike for what both can write", [inch] {
    const auto nominal = *any_nominal();
    const ToleranceClass one{true, *rc::gen::element<std::string>("H", "JS", "F"), *rc::gen::inRange(6, 14)};
    const auto sizes = limits(nominal, one);
    if (!sizes) return;
    // A multiple of 127 pm (10^-5 mm in 0.0001 thou) near a limit has a finite decimal in both units.
    const auto near = (*rc::gen::arbitrary<bool>() ? *sizes->lower : *sizes->upper).count();
    const auto count = near / 127 * 127 + 127 * *rc::gen::inRange<std::int64_t>(-3, 4);
    const auto metric = Quantity::of_count(count, Unit());
    const auto in_inches = metric.text(inch);
    RC_ASSERT(in_inches.has_value());
    const auto read = Quantity::parse(*in_inches, inch);
    RC_ASSERT(read.has_value());
    const auto first = judge(*sizes, metric), second = judge(*sizes, *read);
    RC_ASSERT(first && second && first->verdict == second->verdict && first->by == second->by);
    const bool inside = sizes->lower->count() <= count && count <= sizes->upper->count();
    RC_ASSERT((first->verdict == Verdict::accept) == inside);
  });
}

TEST_CASE("properties of ISO 2768-1: classes in their order, larger sizes not finer") {
  holds("f <= m <= c <= v at one size; not narrower at a larger one (lengths)", [] {
    const auto size = *any_nominal(), other = *any_nominal();
    const auto kind = *rc::gen::element(GeneralKind::linear, GeneralKind::edge, GeneralKind::angle);
    std::optional<Quantity> before;
    for (const auto one :
         {GeneralClass::fine, GeneralClass::medium, GeneralClass::coarse, GeneralClass::very_coarse}) {
      const auto found = general_tolerance(size, one, kind);
      if (!found) {
        RC_ASSERT(!found.error().where.empty() && !found.error().hint.empty());
        continue;
      }
      RC_ASSERT(found->count() > 0);
      if (before) RC_ASSERT(*before <= *found);
      before = *found;
      const auto there = general_tolerance(other, one, kind);
      if (!there || size >= other) continue;
      const bool in_order = kind == GeneralKind::angle ? *found >= *there : *found <= *there;
      RC_ASSERT(in_order);
    }
  });
}

TEST_CASE("the way an odd tolerance is halved") {
  const auto nominal = *Quantity::parse("45", Unit());
  const auto js8 = *class_from("js8");
  // IT8 = 39 at 30 to 50 mm: +-19.5 published (rf-tolerance, its own test), +-19 where an odd value is
  // lowered first.
  CHECK(deviations(nominal, js8)->upper == *Quantity::parse("0.0195", Unit()));
  CHECK(deviations(nominal, js8, OddHalf::even_below)->upper == *Quantity::parse("0.019", Unit()));
  CHECK(deviations(nominal, js8, OddHalf::even_below)->lower == *Quantity::parse("-0.019", Unit()));
}

TEST_CASE("a fit belongs to a length") {
  CHECK(deviations(*Quantity::parse("25", *Unit::named("deg")), *class_from("H7")).error().code ==
        "wrong_unit");
  CHECK(general_tolerance(*Quantity::parse("25", *Unit::named("N")), GeneralClass::fine, GeneralKind::linear)
            .error()
            .code == "wrong_unit");
}
