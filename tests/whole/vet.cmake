# SPDX-License-Identifier: Apache-2.0
# The vet command on lines of pseudo terminals: two serial-line CAN adapters, a K-line.
if(TARGET telltale AND TARGET telltale-vet-live)
  foreach(program bus wire)
    add_executable(vet-${program} whole/vet/${program}.cpp)
    telltale_target(vet-${program})
  endforeach()
  add_test(NAME vet-lines COMMAND sh ${CMAKE_CURRENT_LIST_DIR}/vet/run.sh
    ${CMAKE_BINARY_DIR}/bin ${CMAKE_CURRENT_BINARY_DIR}/vet-lines)
  add_test(NAME vet-kline COMMAND sh ${CMAKE_CURRENT_LIST_DIR}/vet/kline.sh
    ${CMAKE_BINARY_DIR}/bin ${CMAKE_CURRENT_BINARY_DIR}/vet-kline)
  set_tests_properties(vet-lines vet-kline PROPERTIES TIMEOUT 300 LABELS once)
endif()
