# SPDX-License-Identifier: Apache-2.0
# The bundled dumps are what their generator writes, byte for byte.
if(TARGET make-demo)
  add_test(NAME demo-dumps COMMAND sh ${CMAKE_CURRENT_LIST_DIR}/demo/same.sh
    $<TARGET_FILE:make-demo> ${PROJECT_SOURCE_DIR}/examples/demo ${CMAKE_CURRENT_BINARY_DIR}/demo)
  find_program(TSHARK tshark)
  if(TSHARK AND TARGET telltale)
    add_test(NAME demo-tshark COMMAND sh ${CMAKE_CURRENT_LIST_DIR}/demo/tshark.sh
      $<TARGET_FILE:telltale> ${PROJECT_SOURCE_DIR}/examples/demo/bad.pcapng
      ${CMAKE_CURRENT_BINARY_DIR}/demo-tshark)
  endif()
endif()
