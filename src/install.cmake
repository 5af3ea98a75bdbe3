# What `cmake --install` puts in place, and the .deb made of it (cpack -G DEB).
# The pkg-config file names the prefix, which is known only when installing.
install(CODE "
  set(PROJECT_VERSION \"${PROJECT_VERSION}\")
  set(PROJECT_DESCRIPTION \"${PROJECT_DESCRIPTION}\")
  set(LIBDIR \"${CMAKE_INSTALL_LIBDIR}\")
  set(INCLUDEDIR \"${CMAKE_INSTALL_INCLUDEDIR}\")
  configure_file(\"${PROJECT_SOURCE_DIR}/src/keelblock.pc.in\"
    \"${PROJECT_BINARY_DIR}/keelblock.pc\" @ONLY)")
install(TARGETS kb_shared LIBRARY DESTINATION ${CMAKE_INSTALL_LIBDIR})
install(DIRECTORY include/keelblock ${PROJECT_BINARY_DIR}/include/keelblock
  DESTINATION ${CMAKE_INSTALL_INCLUDEDIR} FILES_MATCHING PATTERN *.h)
install(FILES ${PROJECT_BINARY_DIR}/keelblock.pc DESTINATION ${CMAKE_INSTALL_LIBDIR}/pkgconfig)
install(FILES refs/licences/copyright DESTINATION ${CMAKE_INSTALL_DOCDIR})
install(DIRECTORY refs/limits DESTINATION ${CMAKE_INSTALL_DATADIR}/keelblock)
if(TARGET keelblock)
  install(TARGETS keelblock RUNTIME DESTINATION ${CMAKE_INSTALL_BINDIR})
endif()

# Manual page and shell completion are written by the option table itself.
if(TARGET kb_describe)
  find_program(GZIP gzip REQUIRED)
  set(described ${PROJECT_BINARY_DIR}/described)
  file(MAKE_DIRECTORY ${described})
  add_custom_command(OUTPUT ${described}/keelblock.1 ${described}/keelblock.1.gz
    COMMAND kb_describe man > ${described}/keelblock.1
    COMMAND ${GZIP} -9nc ${described}/keelblock.1 > ${described}/keelblock.1.gz
    DEPENDS kb_describe VERBATIM)
  add_custom_command(OUTPUT ${described}/keelblock.bash
    COMMAND kb_describe bash-completion > ${described}/keelblock.bash
    DEPENDS kb_describe VERBATIM)
  add_custom_target(kb_described ALL
    DEPENDS ${described}/keelblock.1.gz ${described}/keelblock.bash)
  install(FILES ${described}/keelblock.1.gz DESTINATION ${CMAKE_INSTALL_MANDIR}/man1)
  install(FILES ${described}/keelblock.bash RENAME keelblock
    DESTINATION ${CMAKE_INSTALL_DATADIR}/bash-completion/completions)
endif()

set(CPACK_GENERATOR DEB)
set(CPACK_PACKAGE_NAME keelblock)
set(CPACK_PACKAGE_VENDOR "keelblock")
set(CPACK_PACKAGE_CONTACT "keelblock maintainers <maintainers@keelblock.invalid>")
set(CPACK_PACKAGE_DESCRIPTION_SUMMARY ${PROJECT_DESCRIPTION})
set(CPACK_PACKAGE_DESCRIPTION
"Turns micrographs of cast irons and carbon steels into figures with
intervals: phase fractions, graphite form, nodularity and nodule count,
the carbon that the structure implies, and a verdict against given limits,
with pictures of what was counted.
Holds the program, the shared library, its headers and the manual page.")
set(CPACK_PACKAGING_INSTALL_PREFIX /usr)
set(CPACK_STRIP_FILES ON)
set(CPACK_DEBIAN_FILE_NAME DEB-DEFAULT)
set(CPACK_DEBIAN_PACKAGE_SECTION science)
set(CPACK_DEBIAN_PACKAGE_SHLIBDEPS ON)
set(CPACK_DEBIAN_PACKAGE_GENERATE_SHLIBS ON)
file(WRITE ${PROJECT_BINARY_DIR}/deb/triggers "activate-noawait ldconfig\n")
set(CPACK_DEBIAN_PACKAGE_CONTROL_EXTRA ${PROJECT_BINARY_DIR}/deb/triggers)
set(CPACK_DEBIAN_PACKAGE_CONTROL_STRICT_PERMISSION ON)
set(CPACK_INSTALL_DEFAULT_DIRECTORY_PERMISSIONS
  OWNER_READ OWNER_WRITE OWNER_EXECUTE GROUP_READ GROUP_EXECUTE WORLD_READ WORLD_EXECUTE)
include(CPack)
