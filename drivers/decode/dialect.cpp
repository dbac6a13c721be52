#include "drivers/decode/dialect.hpp"

#include <algorithm>

#include "drivers/decode/dialect_reader.hpp"

namespace tallystick {

std::chrono::nanoseconds PortSettings::character_time() const {
  const std::int64_t bits = 1 + data_bits + (parity == Parity::none ? 0 : 1) + stop_bits;
  return std::chrono::nanoseconds(bits * 1'000'000'000 / baud);
}

std::string_view name(Speaks speaks) {
  switch (speaks) {
    case Speaks::pushed:
      return "pushed";
    case Speaks::asked:
      return "asked";
    case Speaks::streams:
      return "streams";
  }
  return "?";
}

Cause cause_of(Speaks speaks) {
  switch (speaks) {
    case Speaks::pushed:
      return Cause::pushed;
    case Speaks::asked:
      return Cause::asked;
    case Speaks::streams:
      return Cause::streamed;
  }
  return Cause::pushed;
}

tl::expected<Dialect, Faults> read_dialect(std::string_view toml, std::string_view file) {
  Faults faults;
  const toml::parse_result parsed = toml::parse(toml, file);
  if (!parsed) {
    const auto& error = parsed.error();
    faults.push_back({"not_toml", std::string(error.description()),
                      std::string(file) + ":" + std::to_string(error.source().begin.line),
                      "the rest of the file is checked once this is mended"});
    return tl::unexpected(std::move(faults));
  }
  decode::DialectReader reader(parsed.table(), file, faults);
  Dialect dialect = reader.read();
  if (!faults.empty()) {
    std::stable_sort(faults.begin(), faults.end(),
                     [&](const Error& a, const Error& b) { return decode::line_of(a) < decode::line_of(b); });
    return tl::unexpected(std::move(faults));
  }
  return dialect;
}

std::shared_ptr<const Dialect> no_dialect() {
  static const auto shared = [] {
    // Read like any other, so that every promise of a dialect holds for it.
    auto read = read_dialect(R"(name = "none"
[frame]
cut_by = "terminator"
terminator = "\r"
[value]
pattern = '(?P<value>[0-9.]+)'
[unit]
unit = "mm"
[talk]
speaks = "pushed"
)",
                             "none");
    auto out = std::make_shared<Dialect>(std::move(*read));
    out->name.clear();
    return std::shared_ptr<const Dialect>(out);
  }();
  return shared;
}

}  // namespace tallystick
