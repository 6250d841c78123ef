# SPDX-License-Identifier: Apache-2.0
# telltale::decode as one header and one source.
if(NOT TELLTALE_SANITIZE)
  add_test(NAME amalgamation COMMAND sh ${CMAKE_CURRENT_LIST_DIR}/amalgamation/run.sh
    ${CMAKE_BINARY_DIR} ${CMAKE_CURRENT_BINARY_DIR}/amalgamation ${CMAKE_CXX_COMPILER}
    ${PROJECT_SOURCE_DIR}/examples/demo/good.pcapng)
  set_tests_properties(amalgamation PROPERTIES TIMEOUT 300 LABELS once)
endif()
