# SPDX-License-Identifier: Apache-2.0
# telltale::mimic, telltale::client and telltale::vet are state machines and need telltale::decode
# only; telltale::link carries their frames and needs Boost.Asio, spdlog, OpenSSL and threads. Each is a
# component of the installed package of its own, so that who only decodes needs none of these.
set(telltale_parts)
if(TELLTALE_CLIENT)
  list(APPEND telltale_parts mimic client vet)
endif()
if(TELLTALE_LINK)
  list(APPEND telltale_parts link)
endif()
foreach(folder IN LISTS telltale_parts)
  file(GLOB folder_sources CONFIGURE_DEPENDS src/${folder}/*.cpp)
  if(folder_sources)
    set(kind)
    if(folder STREQUAL "link")
      # Boost.Asio is compiled in here for its users as well; that cannot be shared.
      set(kind STATIC)
    endif()
    add_library(telltale-${folder} ${kind} ${folder_sources})
    add_library(telltale::${folder} ALIAS telltale-${folder})
    telltale_target(telltale-${folder})
    target_include_directories(telltale-${folder} PRIVATE src)
    target_link_libraries(telltale-${folder} PUBLIC telltale::decode)
    target_compile_definitions(telltale-${folder} PRIVATE TELLTALE_BUILDING)
    if(BUILD_SHARED_LIBS AND CMAKE_EXECUTABLE_FORMAT STREQUAL "ELF" AND NOT kind)
      target_link_options(telltale-${folder} PRIVATE
        "LINKER:--version-script=${CMAKE_CURRENT_SOURCE_DIR}/cmake/exports.map")
    endif()
    set_target_properties(telltale-${folder} PROPERTIES
      EXPORT_NAME ${folder}
      VERSION ${PROJECT_VERSION}
      SOVERSION ${PROJECT_VERSION_MAJOR}.${PROJECT_VERSION_MINOR})
    install(TARGETS telltale-${folder} EXPORT telltale-${folder}
      ARCHIVE DESTINATION ${CMAKE_INSTALL_LIBDIR}
      LIBRARY DESTINATION ${CMAKE_INSTALL_LIBDIR} COMPONENT telltale_libraries
        NAMELINK_COMPONENT telltale_development)
    install(EXPORT telltale-${folder} NAMESPACE telltale::
      DESTINATION ${CMAKE_INSTALL_LIBDIR}/cmake/telltale)
  endif()
endforeach()
if(TARGET telltale-mimic AND CMAKE_CXX_COMPILER_ID MATCHES "GNU|Clang")
  # No fused multiply-add: the same vehicle on every machine.
  target_compile_options(telltale-mimic PRIVATE -ffp-contract=off)
endif()
if(TARGET telltale-link)
  find_package(Boost REQUIRED)
  find_package(Threads REQUIRED)
  find_package(OpenSSL REQUIRED)
  find_package(spdlog REQUIRED)
  target_link_libraries(telltale-link
    PUBLIC Boost::headers Threads::Threads OpenSSL::SSL spdlog::spdlog)
  target_compile_definitions(telltale-link PUBLIC BOOST_ASIO_SEPARATE_COMPILATION)
endif()
# The kernel's own termios cannot be seen together with the C library's.
set_source_files_properties(src/link/serial.cpp PROPERTIES SKIP_UNITY_BUILD_INCLUSION ON)
# GCC warns of types of unnamed namespaces in what it takes for a header.
set_source_files_properties(src/vet/offline.cpp PROPERTIES SKIP_UNITY_BUILD_INCLUSION ON)
# What runs state machines on a link: telltale::client-live and telltale::vet-live.
foreach(folder client vet)
  file(GLOB live_sources CONFIGURE_DEPENDS src/${folder}/live/*.cpp)
  if(TARGET telltale-link AND TARGET telltale-${folder} AND live_sources)
    add_library(telltale-${folder}-live STATIC ${live_sources})
    add_library(telltale::${folder}-live ALIAS telltale-${folder}-live)
    telltale_target(telltale-${folder}-live)
    target_include_directories(telltale-${folder}-live PRIVATE src)
    target_link_libraries(telltale-${folder}-live PUBLIC telltale-${folder} telltale-link)
    target_compile_definitions(telltale-${folder}-live PRIVATE TELLTALE_BUILDING)
    set_target_properties(telltale-${folder}-live PROPERTIES EXPORT_NAME ${folder}-live)
    # (No telltale-client-live.cmake: telltale-client.cmake includes every telltale-client-*.cmake.)
    install(TARGETS telltale-${folder}-live EXPORT telltale-${folder}-live
      ARCHIVE DESTINATION ${CMAKE_INSTALL_LIBDIR})
    install(EXPORT telltale-${folder}-live NAMESPACE telltale:: FILE telltale-live-${folder}.cmake
      DESTINATION ${CMAKE_INSTALL_LIBDIR}/cmake/telltale)
  endif()
endforeach()
