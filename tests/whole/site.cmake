# SPDX-License-Identifier: Apache-2.0
# The documentation builds without a warning.
find_program(DOXYGEN doxygen)
if(DOXYGEN AND NOT TELLTALE_SANITIZE)
  add_test(NAME site COMMAND sh ${PROJECT_SOURCE_DIR}/lib/doc/site.sh ${CMAKE_CURRENT_BINARY_DIR}/site)
  set_tests_properties(site PROPERTIES TIMEOUT 120 LABELS once)
endif()
