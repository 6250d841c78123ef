# SPDX-License-Identifier: Apache-2.0
# telltale::c: the C interface as a shared library of its own, telltale::c-static as an archive. Where
# telltale::decode is static it is contained in the shared one, which then needs nothing but the C++
# runtime. Who uses either needs a C compiler only.
file(GLOB c_sources CONFIGURE_DEPENDS src/c/*.cpp)
set(c_abi 0) # TELLTALE_ABI in telltale.h; the test c-symbols holds them together
set(c_map "${CMAKE_CURRENT_SOURCE_DIR}/cmake/c_exports.map")
add_library(telltale-c-objects OBJECT ${c_sources})
telltale_target(telltale-c-objects)
target_link_libraries(telltale-c-objects PRIVATE telltale-decode)
add_library(telltale-c SHARED $<TARGET_OBJECTS:telltale-c-objects>)
add_library(telltale-c-static STATIC $<TARGET_OBJECTS:telltale-c-objects>)
set_target_properties(telltale-c PROPERTIES VERSION ${PROJECT_VERSION} SOVERSION ${c_abi})
set_target_properties(telltale-c-static PROPERTIES OUTPUT_NAME telltale-c)
if(WIN32)
  set_target_properties(telltale-c-static PROPERTIES OUTPUT_NAME telltale-c-static)
endif()
foreach(name telltale-c telltale-c-static)
  string(SUBSTRING ${name} 9 -1 short)
  add_library(telltale::${short} ALIAS ${name})
  telltale_target(${name})
  set_target_properties(${name} PROPERTIES
    EXPORT_NAME ${short} LINKER_LANGUAGE CXX INTERFACE_COMPILE_FEATURES "")
  target_include_directories(${name} PUBLIC
    $<BUILD_INTERFACE:${CMAKE_CURRENT_SOURCE_DIR}/include>
    $<BUILD_INTERFACE:${CMAKE_CURRENT_BINARY_DIR}/include>
    $<INSTALL_INTERFACE:${CMAKE_INSTALL_INCLUDEDIR}>)
  target_link_libraries(${name} PRIVATE telltale-decode)
  # The shared one is a component of its own: who decodes in C++ does not load it, and the reverse.
  # The archive goes with telltale::decode, which it needs. (Nor may there be telltale-c-static.cmake:
  # telltale-c.cmake includes every telltale-c-*.cmake.)
  set(set telltale-c)
  if(name STREQUAL "telltale-c-static")
    set(set telltaleTargets)
  endif()
  install(TARGETS ${name} EXPORT ${set}
    ARCHIVE DESTINATION ${CMAKE_INSTALL_LIBDIR}
    LIBRARY DESTINATION ${CMAKE_INSTALL_LIBDIR} COMPONENT telltale_runtime
      NAMELINK_COMPONENT telltale_development
    RUNTIME DESTINATION ${CMAKE_INSTALL_BINDIR})
endforeach()
install(EXPORT telltale-c NAMESPACE telltale:: DESTINATION ${CMAKE_INSTALL_LIBDIR}/cmake/telltale)
if(CMAKE_EXECUTABLE_FORMAT STREQUAL "ELF")
  target_link_options(telltale-c PRIVATE "LINKER:--version-script=${c_map}")
  set_target_properties(telltale-c PROPERTIES LINK_DEPENDS "${c_map}")
endif()
install(FILES include/telltale.h DESTINATION ${CMAKE_INSTALL_INCLUDEDIR})
configure_file(cmake/telltale-c.pc.in "${CMAKE_CURRENT_BINARY_DIR}/telltale-c.pc" @ONLY)
install(FILES "${CMAKE_CURRENT_BINARY_DIR}/telltale-c.pc"
  DESTINATION ${CMAKE_INSTALL_LIBDIR}/pkgconfig)
