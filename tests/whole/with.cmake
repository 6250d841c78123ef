# SPDX-License-Identifier: Apache-2.0
# Parameters of one's own (--with), many dumps at once, and a fleet in a database.
if(TARGET telltale)
  add_test(NAME program-with COMMAND sh ${CMAKE_CURRENT_LIST_DIR}/with/run.sh
    $<TARGET_FILE:telltale> ${PROJECT_SOURCE_DIR} ${CMAKE_CURRENT_BINARY_DIR}/program-with)
  add_test(NAME program-many COMMAND sh ${CMAKE_CURRENT_LIST_DIR}/many/run.sh
    $<TARGET_FILE:telltale> ${PROJECT_SOURCE_DIR} ${CMAKE_CURRENT_BINARY_DIR}/program-many)
  set_tests_properties(program-with program-many PROPERTIES TIMEOUT 300)
  if(TARGET telltale-mimic)
    add_test(NAME fleet COMMAND sh ${CMAKE_CURRENT_LIST_DIR}/fleet/run.sh
      $<TARGET_FILE:telltale> ${PROJECT_SOURCE_DIR} ${CMAKE_CURRENT_BINARY_DIR}/fleet)
    set_tests_properties(fleet PROPERTIES TIMEOUT 300 LABELS once)
  endif()
endif()
