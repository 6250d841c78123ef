# SPDX-License-Identifier: Apache-2.0
# The manual pages without a warning of groff, and completion in shells that run in a terminal.
if(TARGET telltale)
  add_test(NAME manual COMMAND sh ${CMAKE_CURRENT_LIST_DIR}/manual/run.sh
    $<TARGET_FILE:telltale> ${PROJECT_SOURCE_DIR} ${CMAKE_CURRENT_BINARY_DIR}/manual)
  set_tests_properties(manual PROPERTIES TIMEOUT 120 LABELS once)
endif()
