# SPDX-License-Identifier: Apache-2.0
# What the decode target includes, and its headers one by one.
add_test(NAME headers COMMAND sh ${CMAKE_CURRENT_LIST_DIR}/headers/run.sh ${PROJECT_SOURCE_DIR}
  ${PROJECT_BINARY_DIR}/lib/include ${CMAKE_CXX_COMPILER})
set_tests_properties(headers PROPERTIES LABELS once TIMEOUT 300)
