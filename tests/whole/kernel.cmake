# SPDX-License-Identifier: Apache-2.0
# Our ISO-TP and links against those of the Linux kernel, in a machine that qemu emulates: no
# rights, no modules and no CAN of this machine are needed. It fails where qemu, busybox or a
# kernel is missing (whole/kernel/fetch.sh gets one).
if(CMAKE_SYSTEM_NAME STREQUAL "Linux" AND CMAKE_SYSTEM_PROCESSOR STREQUAL "x86_64"
    AND NOT TELLTALE_SANITIZE)
  set(kernel_sources whole/kernel/isotp.cpp)
  if(TARGET telltale-link)
    list(APPEND kernel_sources whole/kernel/links.cpp whole/kernel/session.cpp
      whole/kernel/vet.cpp)
  endif()
  add_executable(test-kernel ${kernel_sources} $<TARGET_OBJECTS:telltale-test-main>)
  telltale_target(test-kernel)
  target_include_directories(test-kernel PRIVATE ${CMAKE_CURRENT_SOURCE_DIR})
  telltale_test_headers(test-kernel)
  target_link_libraries(test-kernel PRIVATE telltale::decode doctest::doctest)
  if(TARGET telltale-link)
    target_link_libraries(test-kernel PRIVATE telltale::client-live telltale::mimic
      telltale::vet-live)
  endif()
  # Each part has a machine of its own, and waits most of the time: they go side by side.
  function(kernel_part name program)
    add_test(NAME kernel-${name}
      COMMAND sh ${CMAKE_CURRENT_SOURCE_DIR}/whole/kernel/run.sh ${PROJECT_SOURCE_DIR}/build/kernel
        ${CMAKE_CURRENT_BINARY_DIR}/kernel-${name} $<TARGET_FILE:${program}> ${ARGN})
    set_tests_properties(kernel-${name} PROPERTIES TIMEOUT 400 LABELS once COST 60)
  endfunction()
  kernel_part(isotp test-kernel --source-file=*isotp.cpp)
  if(TARGET telltale-link)
    kernel_part(links test-kernel --source-file=*links.cpp,*session.cpp)
    kernel_part(vet test-kernel --source-file=*vet.cpp --test-case-exclude=*serial-line*)
    kernel_part(vet-serial test-kernel --source-file=*vet.cpp --test-case=*serial-line*)
    if(TARGET telltale)
      kernel_part(program telltale)
    endif()
  endif()
endif()
