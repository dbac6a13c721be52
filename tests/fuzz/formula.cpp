// Any bytes as a formula: an answer or an Error, no exception, no number that is none.
#include <cmath>
#include <cstdlib>

#include "daemon/measure/derive.hpp"

using namespace tallystick;

extern "C" int LLVMFuzzerTestOneInput(const unsigned char* data, std::size_t size) {
  const std::string formula(reinterpret_cast<const char*>(data), size);
  const std::vector<derive::Input> inputs = {
      {"a", {Quantity::parse("25.4", Unit()).value()}, {}, {}},
      {"d", {Quantity::parse("1", Unit()).value(), Quantity::parse("2", Unit()).value()}, {}, {}},
      {"t", {Quantity::parse("30", *Unit::named("deg")).value()}, {}, {}}};
  for (const auto* unit : {"mm", "deg", "ratio"}) {
    const auto found = derive::derive("formula", formula, inputs, *Unit::named(unit));
    if (found ? !std::isfinite(std::strtod(found->unrounded.c_str(), nullptr)) : found.error().code.empty())
      std::abort();
  }
  return 0;
}
