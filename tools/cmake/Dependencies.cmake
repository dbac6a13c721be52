# Everything here is a Debian 12 package; tools/install-packages lists them.
find_package(Threads REQUIRED)
find_package(Boost 1.81 REQUIRED COMPONENTS headers json url)
find_package(OpenSSL REQUIRED)
find_package(SQLite3 REQUIRED)
find_package(SQLiteCpp REQUIRED)
find_package(spdlog REQUIRED)
find_package(tl-expected REQUIRED)
find_package(tomlplusplus REQUIRED)
find_package(CLI11 REQUIRED)
find_package(PkgConfig REQUIRED)
pkg_check_modules(RE2 REQUIRED IMPORTED_TARGET re2)
pkg_check_modules(SERIALPORT REQUIRED IMPORTED_TARGET libserialport)
pkg_check_modules(EVDEV REQUIRED IMPORTED_TARGET libevdev)
pkg_check_modules(UDEV REQUIRED IMPORTED_TARGET libudev)
pkg_check_modules(MUPARSER REQUIRED IMPORTED_TARGET muparser)   # formulas of derived features

# toml++ as a library of our own: toml_compiled.cpp says why.
add_library(tallystick_toml STATIC "${CMAKE_SOURCE_DIR}/tools/cmake/toml_compiled.cpp")
target_compile_definitions(tallystick_toml PUBLIC TOML_HEADER_ONLY=0 TOML_EXCEPTIONS=0)

# SHA-256 only: the one thing of OpenSSL that a pure room may use.
add_library(tallystick_digest INTERFACE)
target_link_libraries(tallystick_digest INTERFACE OpenSSL::Crypto)

# Asio compiled once (Beast's own sources too), the same definitions everywhere.
file(CONFIGURE OUTPUT "${CMAKE_BINARY_DIR}/generated/asio_compiled.cpp" CONTENT
  "#include <boost/asio/impl/src.hpp>\n#include <boost/beast/src.hpp>\n")
add_library(tallystick_asio STATIC "${CMAKE_BINARY_DIR}/generated/asio_compiled.cpp")
target_compile_definitions(tallystick_asio PUBLIC
  BOOST_ASIO_SEPARATE_COMPILATION BOOST_BEAST_SEPARATE_COMPILATION BOOST_ASIO_NO_DEPRECATED)
target_link_libraries(tallystick_asio PUBLIC Boost::headers Threads::Threads)
