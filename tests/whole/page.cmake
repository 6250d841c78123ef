# SPDX-License-Identifier: Apache-2.0
# The page of a contrast in real Chromium. Needs npm, node and chromium (tests/run.sh installs them).
if(TARGET telltale-page)
  add_executable(page-sample ${CMAKE_CURRENT_LIST_DIR}/page/sample.cpp)
  telltale_target(page-sample)
  target_link_libraries(page-sample PRIVATE telltale-page)
  add_test(NAME page COMMAND sh ${CMAKE_CURRENT_LIST_DIR}/page/run.sh
    $<TARGET_FILE:page-sample> ${CMAKE_CURRENT_BINARY_DIR}/page)
  set_tests_properties(page PROPERTIES TIMEOUT 180 RUN_SERIAL ON LABELS once)
endif()
