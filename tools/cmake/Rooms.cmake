# tallystick_room(NAME PATH folder [PURE] [USES rooms...] [LIBRARIES libraries...])
# One static library a folder. PURE rooms do no I/O: tests/rooms proves that they reach neither Asio nor SQLite.
add_library(tallystick_warnings INTERFACE)
target_compile_options(tallystick_warnings INTERFACE
  -Wall -Wextra -Wpedantic -Wshadow -Wconversion -Wsign-conversion -Wold-style-cast -Werror)

# GCC 12 at -O2 finds overflows inside std::string's own operator+ that are not there (its bug 105651 and kin).
if(CMAKE_CXX_COMPILER_ID STREQUAL "GNU" AND CMAKE_CXX_COMPILER_VERSION VERSION_LESS 13)
  target_compile_options(tallystick_warnings INTERFACE
    "$<$<CONFIG:RelWithDebInfo>:-Wno-restrict;-Wno-array-bounds;-Wno-stringop-overflow>")
endif()

add_library(tallystick_options INTERFACE)
target_include_directories(tallystick_options INTERFACE "${CMAKE_SOURCE_DIR}")
target_link_libraries(tallystick_options INTERFACE tl::expected Boost::headers Boost::json Threads::Threads)
# RE2 brings -pthread along, and the one precompiled header must fit every room.
target_compile_options(tallystick_options INTERFACE -pthread)
if(TALLYSTICK_SANITIZE)
  target_compile_options(tallystick_options INTERFACE -fsanitize=address -fno-omit-frame-pointer)
  target_link_options(tallystick_options INTERFACE -fsanitize=address,undefined)
  target_compile_options(tallystick_asio PRIVATE -fsanitize=address)
  # The Beast files take 163 CPU s under UBSan: they name themselves in TALLYSTICK_ASAN_ONLY.
  add_library(tallystick_ubsan INTERFACE)
  target_compile_options(tallystick_ubsan INTERFACE -fsanitize=undefined -fno-sanitize-recover=undefined)
endif()

option(TALLYSTICK_PCH "Precompiled headers" ON)
# Not WRITE: that touches the file at each configuring, and everything is built anew.
file(CONFIGURE OUTPUT "${CMAKE_BINARY_DIR}/generated/precompiled.cpp" CONTENT "\n")
add_library(tallystick_precompiled OBJECT "${CMAKE_BINARY_DIR}/generated/precompiled.cpp")
target_link_libraries(tallystick_precompiled PRIVATE tallystick_options tallystick_warnings)
if(TALLYSTICK_SANITIZE)
  target_link_libraries(tallystick_precompiled PRIVATE tallystick_ubsan)
endif()
if(TALLYSTICK_PCH)
  target_precompile_headers(tallystick_precompiled PRIVATE "${CMAKE_SOURCE_DIR}/tools/cmake/precompiled.hpp")
endif()

function(tallystick_compile_like_a_room target)
  target_link_libraries(${target} PRIVATE tallystick_warnings)
  if(TALLYSTICK_SANITIZE)
    target_link_libraries(${target} PRIVATE tallystick_ubsan)
  endif()
endfunction()

function(tallystick_room name)
  cmake_parse_arguments(ROOM "PURE" "PATH" "USES;LIBRARIES" ${ARGN})
  file(GLOB sources CONFIGURE_DEPENDS "${CMAKE_SOURCE_DIR}/${ROOM_PATH}/*.cpp")
  set(target tallystick_${name})
  add_library(${target} STATIC ${sources} "${CMAKE_BINARY_DIR}/generated/precompiled.cpp")
  target_link_libraries(${target} PUBLIC tallystick_options ${ROOM_LIBRARIES})
  foreach(used IN LISTS ROOM_USES)
    target_link_libraries(${target} PUBLIC tallystick_${used})
  endforeach()
  tallystick_compile_like_a_room(${target})
  set_target_properties(${target} PROPERTIES TALLYSTICK_PURE "${ROOM_PURE}")
  if(TALLYSTICK_PCH AND NOT "tallystick_asio" IN_LIST ROOM_LIBRARIES)
    target_precompile_headers(${target} REUSE_FROM tallystick_precompiled)
  endif()
endfunction()
