// Several readings of one feature.
#include <doctest/doctest.h>

#include <vector>

#include "daemon/measure/reduction.hpp"

using namespace tallystick;

namespace {

Unit unit(std::string_view name) { return Unit::named(name).value(); }
Quantity q(std::string_view text, std::string_view name = "mm") {
  return Quantity::parse(text, unit(name)).value();
}

std::vector<Quantity> readings(std::initializer_list<std::string_view> texts, std::string_view name = "mm") {
  std::vector<Quantity> out;
  for (const auto text : texts) out.push_back(q(text, name));
  return out;
}

const Limits bore = Limits::direct(q("25.000"), q("25.021")).value();

}  // namespace

TEST_CASE("each: every reading within the limits, least and greatest kept") {
  const auto good = reduce(Reduction::each, readings({"25.010", "25.002", "25.015"}), bore).value();
  CHECK(good.judgement.verdict == Verdict::accept);
  CHECK(good.value == q("25.002"));  // 0.002 inside: the worst
  CHECK(good.judgement.by.text() == "0.002");
  CHECK(good.least == q("25.002"));
  CHECK(good.greatest == q("25.015"));
  const auto bad = reduce(Reduction::each, readings({"25.010", "24.999", "25.0215", "25.004"}), bore).value();
  CHECK(bad.judgement.verdict == Verdict::reject);
  CHECK(bad.value == q("24.999"));  // 0.001 outside is worse than 0.0005
  CHECK(bad.judgement.side == Side::lower);
  CHECK(bad.greatest == q("25.0215"));
  // Of readings that lie equally bad the first is named.
  CHECK(reduce(Reduction::each, readings({"25.001", "25.020"}), bore)->value == q("25.001"));
  CHECK(reduce(Reduction::each, readings({"25.020", "25.001"}), bore)->value == q("25.020"));
  // One outside among many inside is a reject, though their mean lies inside.
  CHECK(reduce(Reduction::each, readings({"25.010", "25.010", "25.0210001"}), bore)->judgement.verdict ==
        Verdict::reject);
  CHECK(reduce(Reduction::mean, readings({"25.010", "25.010", "25.0210001"}), bore)->judgement.verdict ==
        Verdict::accept);
}

TEST_CASE("mean: exact sum, division rounded to the count, half to even") {
  const auto mean = [](const std::vector<Quantity>& values) {
    return reduce(Reduction::mean, values, bore)->value;
  };
  CHECK(mean(readings({"0.1", "0.2", "0.3"})) == q("0.2"));
  CHECK(mean(readings({"25.000000001", "25.000000002"})) == q("25.000000002"));  // ...1.5 to even
  CHECK(mean(readings({"25.000000000", "25.000000001"})) == q("25.000000000"));  // ...0.5 to even
  CHECK(mean(readings({"-0.000000001", "0.000000000"})) == q("0"));
  CHECK(mean(readings({"-0.000000001", "-0.000000002"})) == q("-0.000000002"));
  CHECK(mean(readings({"1", "1", "2"})).count() == 1'333'333'333);
  const auto most = Quantity::of_count(INT64_MAX, Unit());
  CHECK(mean({most, most, most}) == most);  // the sum does not fit an int64
}

TEST_CASE("a mean of inches that is no finite inch is kept in millimetres") {
  const auto limits = Limits::direct(q("0.4370", "in"), q("0.4380", "in")).value();
  const auto reduced =
      reduce(Reduction::mean, readings({"0.4375", "0.4376", "0.4376"}, "in"), limits).value();
  CHECK(reduced.value.count() == 11'114'193'333);
  CHECK(reduced.value.unit().name() == "mm");
  CHECK(reduced.value.text() == "11.114193333");
  CHECK(reduced.judgement.verdict == Verdict::accept);
  CHECK(reduce(Reduction::mean, readings({"0.4375", "0.4377"}, "in"), limits)->value.text() == "0.4376");
}

TEST_CASE("median, range, greatest, least") {
  const auto values = readings({"25.004", "25.001", "25.020", "25.002"});
  CHECK(reduce(Reduction::median, values, bore)->value == q("25.003"));
  CHECK(reduce(Reduction::median, readings({"25.004", "25.001", "25.020"}), bore)->value == q("25.004"));
  CHECK(reduce(Reduction::greatest, values, bore)->value == q("25.020"));
  CHECK(reduce(Reduction::least, values, bore)->value == q("25.001"));
  const auto roundness = Limits::direct({}, q("0.019")).value();
  const auto range = reduce(Reduction::range, values, roundness).value();
  CHECK(range.value == q("0.019"));
  CHECK(range.judgement.verdict == Verdict::accept);
  CHECK(range.least == q("25.001"));
  CHECK(reduce(Reduction::range, readings({"20", "21.5"}, "degC"),
               Limits::direct({}, q("2", "delta-degC")).value())
            ->value.text() == "1.5");
}

TEST_CASE("readings in several units of one dimension") {
  const std::vector<Quantity> mixed{q("1", "in"), q("25.402"), q("25401", "um")};
  const auto limits = Limits::plus_minus(q("25.4"), q("0.01")).value();
  CHECK(reduce(Reduction::mean, mixed, limits)->value == q("25.401"));
  CHECK(reduce(Reduction::range, mixed, Limits::direct({}, q("0.01")).value())->value == q("0.002"));
}

TEST_CASE("what cannot be reduced") {
  CHECK(reduce(Reduction::mean, {}, bore).error().code == "no_readings");
  CHECK(reduce(Reduction::mean, std::vector{q("25"), q("25", "N")}, bore).error().code == "wrong_unit");
  CHECK(reduce(Reduction::mean, readings({"25"}, "deg"), bore).error().code == "wrong_unit");
  CHECK(reduce(Reduction::each, readings({"25"}), Limits{}).error().code == "no_limit");
  const auto most = Quantity::of_count(INT64_MAX, Unit());
  const auto least = Quantity::of_count(-INT64_MAX, Unit());
  CHECK(reduce(Reduction::range, std::vector{most, least}, bore).error().code == "overflow");
  CHECK(reduction_named("average").error().code == "unknown_reduction");
  for (const auto each : {Reduction::each, Reduction::mean, Reduction::median, Reduction::range,
                          Reduction::greatest, Reduction::least}) {
    CHECK(reduction_named(name(each)) == each);
  }
}
