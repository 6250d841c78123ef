# SPDX-License-Identifier: Apache-2.0
# The vet command against two serial-line CAN adapters on pseudo terminals.
if(TARGET telltale AND TARGET telltale-vet-live)
  add_executable(vet-bus whole/vet/bus.cpp)
  telltale_target(vet-bus)
  add_test(NAME vet-lines COMMAND sh ${CMAKE_CURRENT_LIST_DIR}/vet/run.sh
    ${CMAKE_BINARY_DIR}/bin ${CMAKE_CURRENT_BINARY_DIR}/vet-lines)
  set_tests_properties(vet-lines PROPERTIES TIMEOUT 300 LABELS once)
endif()
