# What is installed where, and the Debian package (cpack -G DEB in the build folder).
# Included at the end of the top CMakeLists.txt, when the programs are known.

# The unit and the manual pages name fixed places, so that everything goes below /usr and /etc unless told otherwise.
if(CMAKE_INSTALL_PREFIX_INITIALIZED_TO_DEFAULT)
  set(CMAKE_INSTALL_PREFIX /usr CACHE PATH "Where to install" FORCE)
endif()
include(GNUInstallDirs)

set(service_dir ${CMAKE_CURRENT_LIST_DIR}/service)

install(TARGETS tramlog tramlog-stage RUNTIME DESTINATION ${CMAKE_INSTALL_BINDIR})
install(TARGETS tramlogd RUNTIME DESTINATION ${CMAKE_INSTALL_SBINDIR})

install(FILES ${service_dir}/tramlogd.service DESTINATION lib/systemd/system)
install(FILES ${service_dir}/tramlog.sysusers DESTINATION lib/sysusers.d RENAME tramlog.conf)
install(FILES ${service_dir}/tramlog.sysctl DESTINATION lib/sysctl.d RENAME 50-tramlog.conf)
install(FILES ${CMAKE_CURRENT_LIST_DIR}/daemon/tramlogd.toml DESTINATION /etc/tramlog)
install(FILES ${service_dir}/settings.conf DESTINATION ${CMAKE_INSTALL_DOCDIR}/examples)

# The programs carry these files inside; here they are for reading.
install(DIRECTORY ${PROJECT_SOURCE_DIR}/dbc/ DESTINATION ${CMAKE_INSTALL_DATADIR}/${PROJECT_NAME}/dbc)
install(FILES ${PROJECT_SOURCE_DIR}/README.md ${PROJECT_SOURCE_DIR}/LICENSE ${service_dir}/debian/copyright
        DESTINATION ${CMAKE_INSTALL_DOCDIR})
install(FILES ${CMAKE_CURRENT_LIST_DIR}/stage/SCENARIO.md DESTINATION ${CMAKE_INSTALL_DOCDIR})

# Manual pages, packed without names and times, so that the same source gives the same bytes.
find_program(GZIP_PROGRAM gzip REQUIRED)
set(packed_pages "")
foreach(page tramlog.1 tramlog-stage.1 tramlogd.toml.5 tramlogd.8)
  string(REGEX MATCH "[0-9]$" section ${page})
  set(packed ${CMAKE_CURRENT_BINARY_DIR}/man/${page}.gz)
  add_custom_command(OUTPUT ${packed}
    COMMAND ${CMAKE_COMMAND} -E make_directory ${CMAKE_CURRENT_BINARY_DIR}/man
    COMMAND ${GZIP_PROGRAM} -9 -n -c ${service_dir}/man/${page} > ${packed}
    DEPENDS ${service_dir}/man/${page} VERBATIM)
  list(APPEND packed_pages ${packed})
  install(FILES ${packed} DESTINATION ${CMAKE_INSTALL_MANDIR}/man${section})
endforeach()
add_custom_target(manual_pages ALL DEPENDS ${packed_pages})

# Completions, written by the program itself.
foreach(shell bash zsh fish)
  set(script ${CMAKE_CURRENT_BINARY_DIR}/completion/tramlog.${shell})
  add_custom_command(OUTPUT ${script}
    COMMAND ${CMAKE_COMMAND} -E make_directory ${CMAKE_CURRENT_BINARY_DIR}/completion
    COMMAND tramlog completion ${shell} -o ${script}
    DEPENDS tramlog VERBATIM)
  list(APPEND completion_scripts ${script})
endforeach()
add_custom_target(completions ALL DEPENDS ${completion_scripts})
install(FILES ${CMAKE_CURRENT_BINARY_DIR}/completion/tramlog.bash
        DESTINATION ${CMAKE_INSTALL_DATADIR}/bash-completion/completions RENAME tramlog)
install(FILES ${CMAKE_CURRENT_BINARY_DIR}/completion/tramlog.zsh
        DESTINATION ${CMAKE_INSTALL_DATADIR}/zsh/vendor-completions RENAME _tramlog)
install(FILES ${CMAKE_CURRENT_BINARY_DIR}/completion/tramlog.fish
        DESTINATION ${CMAKE_INSTALL_DATADIR}/fish/vendor_completions.d)

set(CPACK_GENERATOR DEB)
set(CPACK_PACKAGE_NAME ${PROJECT_NAME})
set(CPACK_PACKAGE_VENDOR "tramlog makers")
set(CPACK_PACKAGE_CONTACT "tramlog makers <tramlog@example.org>")
set(CPACK_PACKAGE_DESCRIPTION_SUMMARY "records and examines the bus between tractor and implement")
set(CPACK_PACKAGE_DESCRIPTION
"The daemon tramlogd records the CAN bus between a tractor and its implement
(ISO 11783) and examines it meanwhile; tramlog tells from recordings, or from
the running daemon, which controller is missing, which one dropped out, since
when and together with whom, and what to look at first.")
set(CPACK_STRIP_FILES ON)
set(CPACK_PACKAGING_INSTALL_PREFIX ${CMAKE_INSTALL_PREFIX})

set(CPACK_DEBIAN_FILE_NAME DEB-DEFAULT)
set(CPACK_DEBIAN_PACKAGE_SECTION net)
set(CPACK_DEBIAN_PACKAGE_PRIORITY optional)
set(CPACK_DEBIAN_PACKAGE_SHLIBDEPS ON)
# The libraries come from the programs themselves. The rest: who makes the user, and kill for the reload.
set(CPACK_DEBIAN_PACKAGE_DEPENDS "systemd | systemd-standalone-sysusers, procps")
set(CPACK_DEBIAN_COMPRESSION_TYPE xz)
set(CPACK_DEBIAN_PACKAGE_CONTROL_STRICT_PERMISSION ON)
file(CONFIGURE OUTPUT ${CMAKE_CURRENT_BINARY_DIR}/debian/conffiles CONTENT "/etc/tramlog/tramlogd.toml\n")
set(CPACK_DEBIAN_PACKAGE_CONTROL_EXTRA
    ${service_dir}/debian/postinst ${service_dir}/debian/prerm ${service_dir}/debian/postrm
    ${CMAKE_CURRENT_BINARY_DIR}/debian/conffiles)
include(CPack)
