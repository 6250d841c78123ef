# SPDX-License-Identifier: Apache-2.0
# The mimic command: its dumps as tshark and `report` see them, and the simulated vehicle on each
# kind of line that needs no hardware, read by a client.
if(TARGET telltale AND TARGET telltale-mimic)
  add_test(NAME mimic-dumps COMMAND sh ${CMAKE_CURRENT_LIST_DIR}/mimic/dumps.sh
    $<TARGET_FILE:telltale> ${CMAKE_CURRENT_BINARY_DIR}/mimic-dumps)
  add_test(NAME mimic-tls COMMAND sh ${CMAKE_CURRENT_LIST_DIR}/mimic/tls.sh
    $<TARGET_FILE:telltale> ${CMAKE_CURRENT_BINARY_DIR}/mimic-tls)
  set_tests_properties(mimic-tls PROPERTIES TIMEOUT 120)
  if(TARGET telltale-client-live)
    add_executable(mimic-lines ${CMAKE_CURRENT_LIST_DIR}/mimic/lines.cpp)
    telltale_target(mimic-lines)
    target_link_libraries(mimic-lines PRIVATE telltale-client-live telltale-mimic)
    foreach(line slcan kline doip)
      add_test(NAME mimic-line-${line} COMMAND mimic-lines $<TARGET_FILE:telltale> ${line})
      set_tests_properties(mimic-line-${line} PROPERTIES TIMEOUT 120)
    endforeach()
    # A K-line counts milliseconds.
    set_tests_properties(mimic-line-kline PROPERTIES RUN_SERIAL TRUE)
  endif()
endif()
