// The pages as they were when the daemon was built.
#pragma once

#include <span>
#include <string_view>

namespace tallystick::pages {

struct Page {
  std::string_view name;   ///< path below daemon/pages, "bench.html"
  std::string_view bytes;  ///< lives as long as the program
  std::string_view gzip;   ///< the same compressed (RFC 1952), made at build time
};
std::span<const Page> all();

}  // namespace tallystick::pages
