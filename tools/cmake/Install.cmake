# What is installed, and the Debian package. tools/install calls `cmake --install`; `cpack -G DEB` in a build folder
# makes the package. Nothing goes to /etc: the first start finds no configuration and offers to write one.
include(GNUInstallDirs)

# Addresses of library functions are settled at start and then read-only.
foreach(program tallystickd tallystick)
  target_link_options(${program} PRIVATE -Wl,-z,relro,-z,now)
endforeach()
install(TARGETS tallystickd tallystick RUNTIME DESTINATION "${CMAKE_INSTALL_BINDIR}")
install(DIRECTORY "${CMAKE_SOURCE_DIR}/config/dialects" DESTINATION "${CMAKE_INSTALL_DATADIR}/tallystick"
        FILES_MATCHING PATTERN "*.dialect.toml")

set(system "${CMAKE_SOURCE_DIR}/config/system")
install(FILES "${system}/tallystick.sysusers" DESTINATION lib/sysusers.d RENAME tallystick.conf)
install(FILES "${system}/tallystick.tmpfiles" DESTINATION lib/tmpfiles.d RENAME tallystick.conf)
install(FILES "${system}/70-tallystick.rules" DESTINATION lib/udev/rules.d)
install(PROGRAMS "${system}/screen" DESTINATION "${CMAKE_INSTALL_LIBEXECDIR}/tallystick")

# The prefix is known only when it is installed.
install(CODE "
  set(bindir \"\${CMAKE_INSTALL_PREFIX}/${CMAKE_INSTALL_BINDIR}\")
  set(libexecdir \"\${CMAKE_INSTALL_PREFIX}/${CMAKE_INSTALL_LIBEXECDIR}\")
  configure_file(\"${system}/tallystick.service.in\" \"${CMAKE_BINARY_DIR}/generated/tallystick.service\" @ONLY)
  configure_file(\"${system}/tallystick-screen.desktop.in\" \"${CMAKE_BINARY_DIR}/generated/tallystick-screen.desktop\" @ONLY)")
install(FILES "${CMAKE_BINARY_DIR}/generated/tallystick.service" DESTINATION lib/systemd/system)
install(FILES "${CMAKE_BINARY_DIR}/generated/tallystick-screen.desktop" DESTINATION "${CMAKE_INSTALL_DATADIR}/applications")

install(FILES daemon/pages/mark.svg DESTINATION "${CMAKE_INSTALL_DATADIR}/icons/hicolor/scalable/apps" RENAME tallystick.svg)

# Man pages and completions, where the build has made them.
install(DIRECTORY "${CMAKE_BINARY_DIR}/share/" DESTINATION "${CMAKE_INSTALL_DATADIR}" OPTIONAL
        PATTERN "man" EXCLUDE)
install(CODE "
  set(from \"${CMAKE_BINARY_DIR}/share/man\")
  set(to \"${CMAKE_BINARY_DIR}/generated/man\")
  file(REMOVE_RECURSE \"\${to}\")
  file(MAKE_DIRECTORY \"\${to}\")
  file(GLOB_RECURSE pages RELATIVE \"\${from}\" \"\${from}/*.[1-9]\")
  foreach(page IN LISTS pages)
    get_filename_component(folder \"\${to}/\${page}\" DIRECTORY)
    file(MAKE_DIRECTORY \"\${folder}\")
    execute_process(COMMAND gzip -9nc \"\${from}/\${page}\" OUTPUT_FILE \"\${to}/\${page}.gz\" COMMAND_ERROR_IS_FATAL ANY)
  endforeach()")
install(DIRECTORY "${CMAKE_BINARY_DIR}/generated/man" DESTINATION "${CMAKE_INSTALL_DATADIR}")

set(documents "${CMAKE_INSTALL_DATADIR}/doc/tallystick")
install(FILES README.md DEVELOPERS.md daemon/serve/API.md daemon/walk/VIEW.md daemon/export/EXPORT.md
              daemon/record/FORMAT.md DESTINATION "${documents}")
install(FILES config/dialects/README.md DESTINATION "${documents}" RENAME DIALECTS.md)
install(FILES config/tallystick.toml tests/record/verifier.py DESTINATION "${documents}/examples")
install(DIRECTORY config/demo DESTINATION "${documents}/examples")

# ---- the Debian package
set(debian "${CMAKE_SOURCE_DIR}/config/system/debian")
install(FILES "${debian}/copyright" DESTINATION "${documents}")
install(CODE "
  execute_process(COMMAND gzip -9nc \"${debian}/changelog\" OUTPUT_FILE \"${CMAKE_BINARY_DIR}/generated/changelog.gz\"
                  COMMAND_ERROR_IS_FATAL ANY)")
install(FILES "${CMAKE_BINARY_DIR}/generated/changelog.gz" DESTINATION "${documents}")

set(CPACK_GENERATOR DEB)
set(CPACK_PACKAGE_NAME tallystick)
set(CPACK_PACKAGE_VENDOR "Tallystick")
set(CPACK_PACKAGE_CONTACT "Tallystick maintainers <tallystick@bench.invalid>")
set(CPACK_PACKAGE_DESCRIPTION_SUMMARY "daemon for the inspection bench: gauge button to durable, exported result")
set(CPACK_PACKAGING_INSTALL_PREFIX /usr)
set(CPACK_INSTALL_DEFAULT_DIRECTORY_PERMISSIONS OWNER_READ OWNER_WRITE OWNER_EXECUTE GROUP_READ GROUP_EXECUTE
    WORLD_READ WORLD_EXECUTE)
set(CPACK_STRIP_FILES ON)
set(CPACK_DEBIAN_FILE_NAME DEB-DEFAULT)
set(CPACK_DEBIAN_PACKAGE_SECTION science)
set(CPACK_DEBIAN_PACKAGE_PRIORITY optional)
set(CPACK_DEBIAN_PACKAGE_SHLIBDEPS ON)
set(CPACK_DEBIAN_PACKAGE_DEPENDS "systemd")
set(CPACK_DEBIAN_PACKAGE_RECOMMENDS "udev")
set(CPACK_DEBIAN_PACKAGE_SUGGESTS "chromium | firefox-esr, python3")
# Long lines would be broken with a space too many; an empty line becomes the lone dot.
set(CPACK_DEBIAN_PACKAGE_DESCRIPTION
"Takes values from hand gauges over serial and USB lines when the inspector
presses the gauge's button, judges them exactly against the print's limits,
keeps them in an append-only record before anybody is told so, says what to
measure next and with which gauge, and gives the results on.

The verdict supports, and does not replace, the person authorised to release
the part.")
set(CPACK_DEBIAN_PACKAGE_CONTROL_STRICT_PERMISSION ON)
set(CPACK_DEBIAN_PACKAGE_CONTROL_EXTRA "${debian}/postinst" "${debian}/prerm" "${debian}/postrm")
include(CPack)
