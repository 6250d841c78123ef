# SPDX-License-Identifier: Apache-2.0
# The decode target as WebAssembly, in a page. Skipped, and said to be, where there is no Emscripten.
if(TARGET telltale AND NOT TELLTALE_SANITIZE)
  add_test(NAME browser COMMAND sh ${CMAKE_CURRENT_LIST_DIR}/browser/run.sh ${CMAKE_BINARY_DIR}
    $<TARGET_FILE:telltale> ${CMAKE_CURRENT_BINARY_DIR}/browser
    ${PROJECT_SOURCE_DIR}/examples/demo/good.pcapng)
  set_tests_properties(browser PROPERTIES TIMEOUT 300 RUN_SERIAL ON LABELS once
    SKIP_RETURN_CODE 77)
endif()
