# SPDX-License-Identifier: Apache-2.0
# Counts allocations, so it replaces operator new: a program of its own. Sanitizers bring their own.
if(NOT TELLTALE_SANITIZE)
  add_executable(test-allocations whole/allocations/count.cpp $<TARGET_OBJECTS:telltale-test-main>)
  telltale_target(test-allocations)
  telltale_test_headers(test-allocations)
  target_include_directories(test-allocations PRIVATE ${CMAKE_CURRENT_SOURCE_DIR})
  target_link_libraries(test-allocations PRIVATE telltale::decode doctest::doctest)
  add_test(NAME allocations COMMAND test-allocations)
endif()
