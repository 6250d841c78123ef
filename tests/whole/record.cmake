# SPDX-License-Identifier: Apache-2.0
# The record command: its parts, and the whole of it against a simulated vehicle, in tmux, and on a
# full bus. `sh tests/whole/record/run.sh build/release/bin /tmp/record 600` is the long form.
if(TARGET telltale-record)
  add_executable(test-record whole/record/store_test.cpp whole/record/table_test.cpp
    $<TARGET_OBJECTS:telltale-test-main>)
  telltale_target(test-record)
  telltale_test_headers(test-record)
  target_link_libraries(test-record PRIVATE telltale-record doctest::doctest)
  add_test(NAME record-parts COMMAND test-record)
  add_executable(record-bus whole/record/bus.cpp)
  telltale_target(record-bus)
  target_include_directories(record-bus PRIVATE ${CMAKE_CURRENT_SOURCE_DIR})
  add_test(NAME record COMMAND sh ${CMAKE_CURRENT_LIST_DIR}/record/run.sh
    ${CMAKE_BINARY_DIR}/bin ${CMAKE_CURRENT_BINARY_DIR}/record 5)
  set_tests_properties(record PROPERTIES TIMEOUT 300 LABELS once COST 40)
  set_tests_properties(record-parts PROPERTIES TIMEOUT 60)
endif()
