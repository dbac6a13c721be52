// Captures of streams. The values are held against a reference that keeps every sample and knows nothing of
// traces, windows or stretches; the bytes against the worked examples of LEB128 in DWARF 5, section 7.6 (from
// memory).
#include "drivers/decode/capture.hpp"

#include <doctest/doctest.h>
#include <rapidcheck.h>

#include <algorithm>
#include <cmath>
#include <cstdlib>

#include "drivers/decode/capture_bytes.hpp"

using namespace tallystick;

namespace {

const int many_cases = setenv("RC_PARAMS", "max_success=500", 0);

template <class Property>
void holds(const char* what, Property property) {
  REQUIRE(many_cases == 0);
  CHECK_MESSAGE(rc::check(what, property), what);
}

Unit unit(std::string_view name) { return Unit::named(name).value(); }
Quantity mm(std::string_view text) { return Quantity::parse(text, unit("mm")).value(); }

Stamp at(std::int64_t us) {
  return {1'795'500'000'000'000 + us, 7'000'000'000 + us * 1000, std::string(32, '1'), "trusted"};
}

Decoded sample(Quantity value, GaugeStatus status = GaugeStatus::ok) {
  Decoded out;
  out.quantity = value;
  out.value_text = value.text();
  out.status = status;
  return out;
}

CaptureRule rule(CaptureKind kind, CaptureValue value) {
  CaptureRule out;
  out.kind = kind;
  out.value = value;
  return out;
}

/// Every sample, one each `step_us`.
CaptureEnd run(const CaptureRule& given, const std::vector<std::int64_t>& counts,
               std::int64_t step_us = 10'000) {
  Capture capture(given, at(0));
  std::int64_t now = 0;
  for (const auto count : counts)
    capture.take(sample(Quantity::of_count(count, unit("mm"))), at(now += step_us));
  return capture.end(at(now));
}

/// A turn with an eccentricity: `per_turn` samples of amplitude * sin, in micrometres, rounded to 0.1.
std::vector<std::int64_t> turn(double amplitude_um, std::size_t per_turn) {
  std::vector<std::int64_t> out;
  for (std::size_t n = 0; n < per_turn; ++n)
    out.push_back(std::llround(amplitude_um * 10 *
                               std::sin(2 * M_PI * static_cast<double>(n) / static_cast<double>(per_turn))) *
                  100'000);
  return out;
}

rc::Gen<std::vector<std::int64_t>> any_counts(std::size_t least, std::size_t most) {
  return rc::gen::mapcat(rc::gen::inRange(least, most), [](std::size_t size) {
    return rc::gen::container<std::vector<std::int64_t>>(
        size, rc::gen::oneOf(rc::gen::inRange<std::int64_t>(-20, 20),
                             rc::gen::inRange<std::int64_t>(-400'000'000, 400'000'000)));
  });
}

}  // namespace

TEST_CASE("a turn's span, its greatest and its least are those of all its samples") {
  const auto counts = turn(5.5, 400);
  CHECK(run(rule(CaptureKind::span, CaptureValue::span), counts).value->text() == "0.011");
  CHECK(run(rule(CaptureKind::max, CaptureValue::max), counts).value->text() == "0.0055");
  CHECK(run(rule(CaptureKind::min, CaptureValue::min), counts).value->text() == "-0.0055");
  const auto sweep = run(rule(CaptureKind::sweep, CaptureValue::span), counts);
  CHECK(sweep.value->text() == "0.011");
  CHECK(sweep.kept.size() == 400);
  CHECK(sweep.all);
  // A whole turn's mean is the middle of the eccentricity.
  CHECK(run(rule(CaptureKind::sweep, CaptureValue::mean), counts).value->text() == "0");
}

TEST_CASE("property: values are those of every sample, and so are those worked out again from what is kept") {
  holds("span, max, min, sweep", [] {
    const auto counts = *any_counts(8, 3'000);
    const auto [low, high] = std::minmax_element(counts.begin(), counts.end());
    const std::vector<std::pair<CaptureRule, std::int64_t>> wanted = {
        {rule(CaptureKind::span, CaptureValue::span), *high - *low},
        {rule(CaptureKind::max, CaptureValue::max), *high},
        {rule(CaptureKind::min, CaptureValue::min), *low},
        {rule(CaptureKind::sweep, CaptureValue::span), *high - *low}};
    for (const auto& [given, value] : wanted) {
      Capture capture(given, at(0));
      std::int64_t now = 0;
      for (const auto count : counts)
        capture.take(sample(Quantity::of_count(count, unit("mm"))), at(now += 1'000));
      const auto end = capture.end(at(now));
      RC_ASSERT(end.broken.empty());
      RC_ASSERT(end.value->count() == value);
      RC_ASSERT(end.samples == static_cast<std::int64_t>(counts.size()));
      RC_ASSERT(
          (given.kind == CaptureKind::sweep ? end.kept.size() == counts.size() : end.kept.size() <= 2048U));
      RC_ASSERT(std::is_sorted(end.kept.begin(), end.kept.end(),
                               [](const auto& a, const auto& b) { return a.at_us < b.at_us; }));
      for (const auto& kept : end.kept)
        RC_ASSERT(counts[static_cast<std::size_t>(kept.at_us / 1'000 - 1)] == kept.count);
      const auto kept = kept_of("lever-1", capture, end);
      const auto back = capture_from(to_bytes(kept));
      RC_ASSERT(back.has_value());
      RC_ASSERT(*back == kept);
      RC_ASSERT(worked_out_again(*back)->count() == value);
    }
  });
}

TEST_CASE("property: a mean is exact, rounded half to even") {
  holds("mean", [] {
    const auto counts = *any_counts(8, 60);
    // In 64 bits: 60 samples of at most 4e8.
    std::int64_t sum = 0;
    for (const auto count : counts) sum += count;
    const auto n = static_cast<std::int64_t>(counts.size());
    auto wanted = sum / n;
    auto left = sum % n;
    if (left < 0) left += n, --wanted;
    if (2 * left > n || (2 * left == n && wanted % 2 != 0)) ++wanted;
    RC_ASSERT(run(rule(CaptureKind::sweep, CaptureValue::mean), counts).value->count() == wanted);
  });
}

TEST_CASE("property: settled is the first sample whose window holds for its time") {
  holds("settled", [] {
    const auto counts = *any_counts(3, 60);
    const auto window = *rc::gen::inRange<std::int64_t>(0, 30);
    const auto length = *rc::gen::inRange<std::int64_t>(2, 8);
    auto given = rule(CaptureKind::settled, CaptureValue::last);
    given.window = Quantity::of_count(window, unit("mm"));
    given.settle_us = length * 10'000;
    std::optional<std::size_t> wanted;
    for (std::size_t last = 0; last < counts.size() && !wanted; ++last) {
      if (last < static_cast<std::size_t>(length)) continue;
      const auto begin = counts.begin() + static_cast<std::ptrdiff_t>(last) - length;
      const auto [low, high] =
          std::minmax_element(begin, counts.begin() + static_cast<std::ptrdiff_t>(last) + 1);
      if (*high - *low <= window) wanted = last;
    }
    Capture capture(given, at(0));
    std::int64_t now = 0;
    std::optional<std::size_t> settled;
    for (std::size_t n = 0; n < counts.size() && !settled; ++n) {
      capture.take(sample(Quantity::of_count(counts[n], unit("mm"))), at(now += 10'000));
      if (capture.ended()) settled = n;
    }
    RC_ASSERT(settled == wanted);
    const auto end = capture.end(at(now));
    if (!wanted) {
      RC_ASSERT(end.broken == "not_settled");
      return;
    }
    RC_ASSERT(end.ended_by == "settled");
    RC_ASSERT(end.value->count() == counts[*wanted]);
    const auto kept = kept_of("lever-1", capture, end);
    RC_ASSERT(worked_out_again(capture_from(to_bytes(kept)).value())->count() == counts[*wanted]);
  });
}

TEST_CASE("property: what is kept is bounded, whatever comes, and never loses an extreme") {
  holds("trace", [] {
    const auto stretches = 2 * *rc::gen::inRange<std::size_t>(1, 20);
    const auto counts = *any_counts(1, 500);
    CaptureTrace trace(stretches);
    std::int64_t now = 0;
    for (const auto count : counts) trace.add({++now, count});
    const auto kept = trace.samples();
    RC_ASSERT(kept.size() <= 2 * stretches);
    RC_ASSERT(trace.all() == (counts.size() <= stretches));
    if (trace.all()) RC_ASSERT(kept.size() == counts.size());
    const auto [low, high] = std::minmax_element(counts.begin(), counts.end());
    // The first of equals: where the extreme was first reached.
    RC_ASSERT(std::count(kept.begin(), kept.end(), CaptureSample{low - counts.begin() + 1, *low}) == 1);
    const auto first_high = std::find(counts.begin(), counts.end(), *high);
    RC_ASSERT(std::count(kept.begin(), kept.end(), CaptureSample{first_high - counts.begin() + 1, *high}) >=
              1);
  });
}

TEST_CASE("what may have lost an extreme is not judged") {
  const auto counts = turn(5, 100);
  const auto broken_by = [&](CaptureKind kind, const std::function<void(Capture&, std::int64_t)>& harm) {
    auto given = rule(kind, kind == CaptureKind::max ? CaptureValue::max : CaptureValue::span);
    Capture capture(given, at(0));
    std::int64_t now = 0;
    for (std::size_t n = 0; n < counts.size(); ++n) {
      capture.take(sample(Quantity::of_count(counts[n], unit("mm"))), at(now += 10'000));
      if (n == 50) harm(capture, now);
    }
    const auto end = capture.end(at(now));
    CHECK(end.value.has_value() == end.broken.empty());
    return end.broken;
  };
  for (const auto kind : {CaptureKind::span, CaptureKind::max, CaptureKind::sweep}) {
    CAPTURE(static_cast<int>(kind));
    CHECK(broken_by(kind, [](Capture&, std::int64_t) {}).empty());
    CHECK(broken_by(kind, [](Capture& capture, std::int64_t now) {
            capture.refused(RefusalReason::bad_checksum, at(now + 1));
          }) == "frame_refused");
    CHECK(broken_by(kind, [](Capture& capture, std::int64_t now) { capture.port_lost(at(now + 1)); }) ==
          "port_lost");
    CHECK(broken_by(kind, [](Capture& capture, std::int64_t now) {
            capture.take(sample(mm("0"), GaugeStatus::over_range), at(now + 1));
          }) == "gauge_status");
    CHECK(broken_by(kind, [](Capture& capture, std::int64_t now) {
            capture.take(sample(Quantity::parse("0.001", unit("in")).value()), at(now + 1));
          }) == "unit_changed");
    CHECK(broken_by(kind, [](Capture& capture, std::int64_t now) {
            capture.take(sample(mm("0"), GaugeStatus::low_battery), at(now + 1));
          }).empty());
  }
}

TEST_CASE("a pause longer than the rule allows breaks a capture, one as long does not") {
  auto given = rule(CaptureKind::span, CaptureValue::span);
  given.longest_gap_us = 200'000;
  for (const std::int64_t more : {0, 1}) {
    Capture capture(given, at(0));
    for (int n = 1; n <= 10; ++n) capture.take(sample(mm("0.001")), at(n * 10'000));
    capture.take(sample(mm("0.002")), at(300'000 + more));
    CHECK(capture.ended() == (more == 1));
    const auto end = capture.end(at(300'002));
    CHECK(end.broken == (more == 1 ? "gap" : ""));
  }
  // Nothing at all, and an end too late after the last sample.
  Capture silent(given, at(0));
  silent.pass(at(200'000));
  CHECK_FALSE(silent.ended());
  silent.pass(at(200'001));
  CHECK(silent.end(at(200'001)).broken == "gap");
  Capture late(given, at(0));
  for (int n = 1; n <= 10; ++n) late.take(sample(mm("0.001")), at(n * 10'000));
  CHECK(late.end(at(300'000)).broken.empty());
  CHECK(late.end(at(300'001)).broken == "gap");
}

TEST_CASE("a settled capture begins its window anew after a frame that was no value") {
  auto given = rule(CaptureKind::settled, CaptureValue::last);
  given.window = mm("0.001");
  given.settle_us = 50'000;
  Capture capture(given, at(0));
  for (int n = 1; n <= 5; ++n) capture.take(sample(mm("1.000")), at(n * 10'000));
  capture.refused(RefusalReason::not_a_number, at(55'000));
  CHECK_FALSE(capture.ended());
  for (int n = 6; n <= 10; ++n) capture.take(sample(mm("1.000")), at(n * 10'000));
  CHECK_FALSE(capture.ended());
  capture.take(sample(mm("1.001")), at(110'000));
  CHECK(capture.ended());
  const auto end = capture.end(at(110'000));
  CHECK(end.value->text() == "1.001");
  CHECK(end.refused == 1);
  CHECK(end.kept.size() == 6);
}

TEST_CASE("too few samples make no value: a pedal pressed twice is no turn") {
  auto given = rule(CaptureKind::span, CaptureValue::span);
  CHECK(run(given, {1, 2, 3, 4, 5, 6, 7}).broken == "too_few");
  CHECK(run(given, {1, 2, 3, 4, 5, 6, 7, 8}).broken.empty());
  CHECK(run(given, {}).broken == "too_few");
  CHECK(run(rule(CaptureKind::settled, CaptureValue::last), {}).broken == "not_settled");
}

TEST_CASE("an end by time takes what came within it and nothing later") {
  auto given = rule(CaptureKind::span, CaptureValue::span);
  given.end_after_us = 100'000;
  Capture capture(given, at(0));
  for (int n = 1; n <= 10; ++n) capture.take(sample(mm(n == 10 ? "0.010" : "0.001")), at(n * 10'000));
  CHECK_FALSE(capture.ended());
  capture.take(sample(mm("0.099")), at(110'000));
  CHECK(capture.ended());
  const auto end = capture.end(at(500'000));
  CHECK(end.ended_by == "time");
  CHECK(end.value->text() == "0.009");
  CHECK(end.samples == 10);
  // Where the stream stops just before the end, time alone ends it; where it stopped long before, it is
  // broken.
  for (const std::int64_t gap : {70'000, 5'000}) {
    given.longest_gap_us = gap;
    Capture alone(given, at(0));
    for (int n = 1; n <= 9; ++n) alone.take(sample(mm("0.001")), at(n * 4'000));
    alone.pass(at(110'000));
    CHECK(alone.ended());
    CHECK(alone.end(at(110'000)).broken == (gap == 5'000 ? "gap" : ""));
  }
}

TEST_CASE(
    "a capture that waits for movement begins by itself, and a slow start takes nothing from its span") {
  auto given = rule(CaptureKind::span, CaptureValue::span);
  given.movement = mm("0.003");
  given.end_after_us = 1'000'000;
  Capture capture(given, at(0));
  std::int64_t now = 0;
  for (int n = 0; n < 300; ++n)
    capture.take(sample(Quantity::of_count(n * 10'000, unit("mm"))), at(now += 10'000));  // up to 2.99 um
  CHECK(capture.waits_for_movement());
  CHECK_FALSE(capture.ended());  // the time is that of the movement
  CHECK(capture.end(at(now)).broken == "no_movement");
  capture.take(sample(mm("0.003")), at(now += 10'000));
  CHECK(capture.waits_for_movement());  // exactly so far is not farther
  const auto moved = now += 10'000;
  capture.take(sample(mm("0.0031")), at(now));
  CHECK_FALSE(capture.waits_for_movement());
  while (!capture.ended()) capture.take(sample(mm("0.009")), at(now += 10'000));
  const auto end = capture.end(at(now));
  CHECK(end.ended_by == "time");
  CHECK(now == moved + 1'010'000);
  CHECK(end.moved_us == moved);
  CHECK(end.value->text() == "0.009");  // from 0, though it began at 0.0031
  CHECK(worked_out_again(kept_of("g", capture, end))->text() == "0.009");
  CHECK_FALSE(end.all);
}

TEST_CASE("a capture is bounded in time and in samples") {
  auto given = rule(CaptureKind::sweep, CaptureValue::span);
  given.longest_us = 1'000'000;
  Capture capture(given, at(0));
  for (int n = 1; n <= 101; ++n) capture.take(sample(mm("0.001")), at(n * 10'000));
  CHECK(capture.end(at(1'010'000)).broken == "too_long");
  given.longest_us = 600'000'000;
  Capture many(given, at(0));
  for (int n = 1; n <= 65'537; ++n) many.take(sample(mm("0.001")), at(n * 1'000));
  const auto end = many.end(at(65'537'000));
  CHECK(end.broken == "too_many");
  CHECK(to_bytes(kept_of("g", many, end)).size() < 65'537 * 10);
}

TEST_CASE("inches stay inches, to the count") {
  auto given = rule(CaptureKind::span, CaptureValue::span);
  Capture capture(given, at(0));
  for (int n = 1; n <= 20; ++n)
    capture.take(sample(Quantity::parse(n == 7 ? "0.00045" : "0.00002", unit("in")).value()), at(n * 10'000));
  const auto end = capture.end(at(200'000));
  CHECK(end.value->text() == "0.00043");
  CHECK(end.value->unit().name() == "in");
  CHECK(capture_from(to_bytes(kept_of("g", capture, end)))->head.value == "0.00043");
}

TEST_CASE("the bytes: LEB128 as the standard's examples have it, under the zigzag form") {
  // Zigzag forms 2, 127, 128, 129, 12857 (the examples of the unsigned form) are the numbers 1, -64, 64, -65,
  // -6429.
  CaptureKept kept;
  kept.head.kept = 3;
  std::int64_t time = 0, count = 0;
  for (const auto& [later, more] :
       std::vector<std::pair<std::int64_t, std::int64_t>>{{1, -64}, {64, -65}, {1, -6429}})
    kept.samples.push_back({time += later, count += more});
  const auto bytes = to_bytes(kept);
  const std::string head = R"({"kept":3})";
  CHECK(bytes == std::string("tlycap\0\1\0\0\0\x0a", 12) + head +
                     std::string("\x02\x7f\x80\x01\x81\x01\x02\xb9\x64", 9));
  CHECK(capture_from(bytes).value() == kept);
}

TEST_CASE(
    "property: bytes that were cut, changed or made up never read as what they are not, and never crash") {
  holds("bytes", [] {
    const auto counts = *any_counts(8, 40);
    Capture capture(rule(CaptureKind::span, CaptureValue::span), at(0));
    std::int64_t now = 0;
    for (const auto count : counts)
      capture.take(sample(Quantity::of_count(count, unit("mm"))), at(now += 10'000));
    const auto bytes = to_bytes(kept_of("g", capture, capture.end(at(now))));
    const auto cut = *rc::gen::inRange<std::size_t>(0, bytes.size());
    RC_ASSERT(!capture_from(std::string_view(bytes).substr(0, cut)));
    RC_ASSERT(capture_from(bytes + "x").error().code == "wrong_count");
    auto changed = bytes;
    changed[*rc::gen::inRange<std::size_t>(0, bytes.size())] = static_cast<char>(*rc::gen::inRange(0, 256));
    if (const auto read = capture_from(changed)) static_cast<void>(worked_out_again(*read));
    static_cast<void>(capture_from(*rc::gen::string<std::string>()));
  });
  CHECK(capture_from("tlycap").error().code == "not_a_capture");
  CHECK(capture_from(std::string("tlycap\0\2\0\0\0\2{}", 14)).error().code == "newer_format");
  CHECK(capture_from(std::string("tlycap\0\1\xff\xff\xff\xff{}", 14)).error().code == "cut_short");
  CHECK(capture_from(std::string("tlycap\0\1\0\0\0\x16{\"kept\":9999999999999}", 34)).error().code ==
        "wrong_shape");
}
