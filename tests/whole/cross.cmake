# SPDX-License-Identifier: Apache-2.0
# The decode target on a big-endian machine, emulated: the reference vectors, and everything that the
# demonstration's dumps say, which must be the same as here. The complete run, and a 32-bit machine,
# is tests/cross/run.sh by hand.
if(NOT TELLTALE_SANITIZE)
  add_executable(all-of-it ${PROJECT_SOURCE_DIR}/tests/cross/all_of_it.cpp)
  telltale_target(all-of-it)
  add_dependencies(all-of-it amalgamation)
  target_include_directories(all-of-it PRIVATE ${PROJECT_BINARY_DIR}/lib/amalgamation)
  target_link_libraries(all-of-it PRIVATE telltale::decode)
  foreach(target s390x)
    add_test(NAME cross-${target} COMMAND ${CMAKE_COMMAND} -E env QUICK=1
      WORK=${CMAKE_CURRENT_BINARY_DIR}/cross-${target}
      AMALGAMATION=${PROJECT_BINARY_DIR}/lib/amalgamation ALL_OF_IT=$<TARGET_FILE:all-of-it>
      sh ${PROJECT_SOURCE_DIR}/tests/cross/run.sh ${target})
    set_tests_properties(cross-${target} PROPERTIES TIMEOUT 300 LABELS once SKIP_RETURN_CODE 77)
  endforeach()
endif()
