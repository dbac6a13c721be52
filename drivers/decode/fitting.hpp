// Which dialects a way in can carry, and which gauges a dialect can serve. Pure.
#pragma once

#include <optional>
#include <string_view>

#include "drivers/decode/dialect.hpp"

namespace tallystick {

/// Why a port with this driver cannot speak this dialect; nothing: it can. The error has no place.
std::optional<Error> misfit(const Dialect& dialect, std::string_view driver);

/// Why a gauge with this channel and unit cannot be read through this register map; nothing: it can.
std::optional<Error> misfit_of_register(const Dialect& dialect, std::string_view driver,
                                        std::string_view channel, Unit shown);

}  // namespace tallystick
