# SPDX-License-Identifier: Apache-2.0
# Debian packages: `cpack -G DEB` in a finished build makes libtelltale-c0 (the C interface's shared
# library), libtelltale-dev (headers, archives, and what finds them) and telltale (the program). They
# say what they need by dpkg-shlibdeps. Configure with -DCMAKE_INSTALL_PREFIX=/usr, so that libraries
# go where Debian keeps those of the machine; who packages is named with -DCPACK_PACKAGE_CONTACT=.
# Of a build with BUILD_SHARED_LIBS there is also libtelltale0.1: the C++ libraries, which the others
# then need, and of which libtelltale-dev has the links.
if(NOT CMAKE_EXECUTABLE_FORMAT STREQUAL "ELF")
  return()
endif()

set(CPACK_GENERATOR DEB)
set(CPACK_PACKAGE_NAME telltale)
set(CPACK_PACKAGE_VENDOR "")
set(CPACK_PACKAGE_DESCRIPTION_SUMMARY "") # each package has its own first line
set(CPACK_PACKAGING_INSTALL_PREFIX /usr)
set(CPACK_STRIP_FILES ON)
set(CPACK_DEB_COMPONENT_INSTALL ON)
set(CPACK_COMPONENTS_ALL telltale_runtime telltale_development)
set(CPACK_COMPONENTS_GROUPING IGNORE)
if(NOT CPACK_PACKAGE_CONTACT)
  set(CPACK_PACKAGE_CONTACT "the telltale maintainers <telltale@localhost>")
endif()
set(CPACK_DEBIAN_FILE_NAME DEB-DEFAULT)
set(CPACK_DEBIAN_COMPRESSION_TYPE xz)
set(CPACK_DEBIAN_PACKAGE_CONTROL_STRICT_PERMISSION ON)

# As Debian wants it, with the program's other part. (LICENSE says the same of the sources.)
string(SUBSTRING ${telltale_date} 0 4 telltale_year)
set(telltale_deb_files "${CMAKE_CURRENT_BINARY_DIR}/lib/deb")
file(CONFIGURE OUTPUT "${telltale_deb_files}/copyright" @ONLY CONTENT
"Format: https://www.debian.org/doc/packaging-manuals/copyright-format/1.0/
Upstream-Name: telltale

Files: *
Copyright: @telltale_year@ the telltale maintainers
License: Apache-2.0
 On Debian systems, the Apache License, version 2.0, is in
 /usr/share/common-licenses/Apache-2.0.
")

# telltale_deb(COMPONENT PACKAGE SECTION SUMMARY TEXT [OVERRIDE...]): an override of lintian has its
# reason before it.
macro(telltale_deb component package section summary text)
  string(TOUPPER ${component} telltale_upper)
  set(CPACK_DEBIAN_${telltale_upper}_PACKAGE_NAME ${package})
  set(CPACK_DEBIAN_${telltale_upper}_PACKAGE_SECTION ${section})
  set(CPACK_DEBIAN_${telltale_upper}_DESCRIPTION "${summary}\n${text}")
  # In the packages only: who installs by hand has it in the sources.
  install(FILES "${telltale_deb_files}/copyright" DESTINATION share/doc/${package}
    COMPONENT ${component} EXCLUDE_FROM_ALL)
  string(JOIN "\n" telltale_overrides
    "# Made of a build, not of a Debian source: what changed is told by the project."
    "no-changelog" ${ARGN} "")
  file(CONFIGURE OUTPUT "${telltale_deb_files}/${package}" CONTENT "${telltale_overrides}" @ONLY)
  install(FILES "${telltale_deb_files}/${package}" DESTINATION share/lintian/overrides
    COMPONENT ${component} EXCLUDE_FROM_ALL)
endmacro()
# Of a package with shared libraries: dpkg is told to have the loader's list made anew.
file(CONFIGURE OUTPUT "${telltale_deb_files}/triggers" CONTENT "activate-noawait ldconfig\n" @ONLY)
set(telltale_ldconfig
  "# CPack has its scripts do what the trigger asks for as well, which cannot be turned off."
  "maintscript-calls-ldconfig")

get_target_property(telltale_c_abi telltale-c SOVERSION)
set(telltale_about "Values, trouble codes, readiness and test results of on-board diagnostics
(SAE J1979, ISO 15031-5), out of raw dumps of a vehicle's bus, in engineering
units.")
telltale_deb(telltale_runtime libtelltale-c${telltale_c_abi} libs
  "on-board diagnostics into engineering units, C interface"
  "${telltale_about}\n.\nThe shared library for C and for what calls C."
  ${telltale_ldconfig})
set(CPACK_DEBIAN_TELLTALE_RUNTIME_PACKAGE_SHLIBDEPS ON)
set(CPACK_DEBIAN_TELLTALE_RUNTIME_PACKAGE_CONTROL_EXTRA "${telltale_deb_files}/triggers")
set(CPACK_DEBIAN_PACKAGE_GENERATE_SHLIBS ON)
set(CPACK_DEBIAN_PACKAGE_GENERATE_SHLIBS_POLICY ">=")

set(telltale_libraries)
if(BUILD_SHARED_LIBS)
  get_target_property(telltale_so telltale-decode SOVERSION)
  set(telltale_libraries "libtelltale${telltale_so} (= ${PROJECT_VERSION})")
  telltale_deb(telltale_libraries libtelltale${telltale_so} libs
    "on-board diagnostics into engineering units, C++ libraries"
    "${telltale_about}\n.\nThe shared libraries for programs in C++."
    ${telltale_ldconfig}
    "# Libraries that go together and have one version, in one package."
    "package-name-doesnt-match-sonames")
  list(APPEND CPACK_COMPONENTS_ALL telltale_libraries)
  set(CPACK_DEBIAN_TELLTALE_LIBRARIES_PACKAGE_SHLIBDEPS ON)
  set(CPACK_DEBIAN_TELLTALE_LIBRARIES_PACKAGE_CONTROL_EXTRA "${telltale_deb_files}/triggers")
  # Of one package to another, dpkg-shlibdeps knows nothing yet.
  set(CPACK_DEBIAN_PACKAGE_SHLIBDEPS_PRIVATE_DIRS "${CMAKE_BINARY_DIR}/lib")
  set(CPACK_DEBIAN_TELLTALE_RUNTIME_PACKAGE_DEPENDS "${telltale_libraries}")
  set(CPACK_DEBIAN_TELLTALE_PROGRAM_PACKAGE_DEPENDS "${telltale_libraries}")
  string(PREPEND telltale_libraries ", ")
endif()

telltale_deb(telltale_development libtelltale-dev libdevel
  "on-board diagnostics into engineering units, development files"
  "${telltale_about}\n.\nHeaders and archives of the C++20 library, and the header of the C interface.
The parts that talk to a vehicle (components link, client-live and vet-live)
need what is suggested as well.")
set(CPACK_DEBIAN_TELLTALE_DEVELOPMENT_PACKAGE_DEPENDS
  "libtelltale-c${telltale_c_abi} (= ${PROJECT_VERSION})${telltale_libraries}, libexpected-dev, libstdc++-12-dev | libstdc++-dev")
set(CPACK_DEBIAN_TELLTALE_DEVELOPMENT_PACKAGE_SUGGESTS
  "libboost-dev, libspdlog-dev, libssl-dev")
install(FILES README.md DESTINATION share/doc/libtelltale-dev
  COMPONENT telltale_development EXCLUDE_FROM_ALL)
file(GLOB telltale_examples CONFIGURE_DEPENDS examples/embed/*.c examples/embed/*.cpp)
install(FILES ${telltale_examples} DESTINATION share/doc/libtelltale-dev/examples
  COMPONENT telltale_development EXCLUDE_FROM_ALL)

if(TELLTALE_PROGRAM)
  list(APPEND CPACK_COMPONENTS_ALL telltale_program)
  telltale_deb(telltale_program telltale utils
    "tell what a vehicle's on-board diagnostics said"
    "${telltale_about}\n.\nThe program decodes dumps, reports on a vehicle, compares drives, records at
the car and vets interface adapters.")
  set(CPACK_DEBIAN_TELLTALE_PROGRAM_PACKAGE_SHLIBDEPS ON)
  install(FILES README.md examples/telltale/CONTRACT.md DESTINATION share/doc/telltale
    COMPONENT telltale_program EXCLUDE_FROM_ALL)
  install(CODE "set(plot_licence \"${CMAKE_BINARY_DIR}/examples/telltale/page/node_modules/uplot/LICENSE\")"
    COMPONENT telltale_program EXCLUDE_FROM_ALL)
  install(SCRIPT "${CMAKE_CURRENT_SOURCE_DIR}/lib/cmake/plot_copyright.cmake"
    COMPONENT telltale_program EXCLUDE_FROM_ALL)
endif()
include(CPack)
