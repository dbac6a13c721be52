# Embeds every file of daemon/pages into the daemon: name -> bytes (daemon/pages/pages.hpp).
file(GLOB_RECURSE page_files CONFIGURE_DEPENDS RELATIVE "${CMAKE_SOURCE_DIR}/daemon/pages"
     "${CMAKE_SOURCE_DIR}/daemon/pages/*.html" "${CMAKE_SOURCE_DIR}/daemon/pages/*.css" "${CMAKE_SOURCE_DIR}/daemon/pages/*.js"
     "${CMAKE_SOURCE_DIR}/daemon/pages/*.json" "${CMAKE_SOURCE_DIR}/daemon/pages/*.svg")
set(embedded "${CMAKE_BINARY_DIR}/generated/pages.cpp")
set(page_paths ${page_files})
list(TRANSFORM page_paths PREPEND "${CMAKE_SOURCE_DIR}/daemon/pages/")
string(REPLACE ";" "," page_list "${page_files}")
add_custom_command(OUTPUT "${embedded}"
  COMMAND "${CMAKE_COMMAND}" -D "ROOT=${CMAKE_SOURCE_DIR}/daemon/pages" -D "FILES=${page_list}" -D "OUT=${embedded}"
          -P "${CMAKE_SOURCE_DIR}/tools/cmake/EmbedPages.cmake"
  DEPENDS ${page_paths} "${CMAKE_SOURCE_DIR}/tools/cmake/EmbedPages.cmake" VERBATIM)
add_library(tallystick_pages STATIC "${embedded}")
target_include_directories(tallystick_pages PUBLIC "${CMAKE_SOURCE_DIR}")
