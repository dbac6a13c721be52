#include "drivers/decode/reading.hpp"

namespace tallystick {

std::string_view name(GaugeStatus status) {
  switch (status) {
    case GaugeStatus::ok:
      return "ok";
    case GaugeStatus::low_battery:
      return "low_battery";
    case GaugeStatus::over_range:
      return "over_range";
    case GaugeStatus::under_range:
      return "under_range";
    case GaugeStatus::error:
      return "error";
  }
  return "?";
}

std::string_view name(RefusalReason reason) {
  switch (reason) {
    case RefusalReason::incomplete:
      return "incomplete";
    case RefusalReason::not_mine:
      return "not_mine";
    case RefusalReason::bad_checksum:
      return "bad_checksum";
    case RefusalReason::out_of_range:
      return "out_of_range";
    case RefusalReason::unknown_unit:
      return "unknown_unit";
    case RefusalReason::unknown_status:
      return "unknown_status";
    case RefusalReason::not_a_number:
      return "not_a_number";
    case RefusalReason::too_long:
      return "too_long";
    case RefusalReason::declined:
      return "declined";
  }
  return "?";
}

std::string_view name(Cause cause) {
  switch (cause) {
    case Cause::pushed:
      return "pushed";
    case Cause::asked:
      return "asked";
    case Cause::streamed:
      return "streamed";
    case Cause::typed:
      return "typed";
  }
  return "?";
}

}  // namespace tallystick
