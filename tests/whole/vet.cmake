# SPDX-License-Identifier: Apache-2.0
# The vet command on lines of pseudo terminals and on the loopback: two serial-line CAN adapters, a
# K-line, a DoIP gateway, with TLS and without; with the simulated vehicle.
if(TARGET telltale AND TARGET telltale-vet-live)
  foreach(program bus wire gateway)
    add_executable(vet-${program} whole/vet/${program}.cpp)
    telltale_target(vet-${program})
    target_include_directories(vet-${program} PRIVATE ${CMAKE_CURRENT_SOURCE_DIR})
  endforeach()
  target_link_libraries(vet-gateway PRIVATE telltale::link)
  foreach(line can kline doip tls vehicle)
    add_test(NAME vet-${line} COMMAND sh ${CMAKE_CURRENT_LIST_DIR}/vet/${line}.sh
      ${CMAKE_BINARY_DIR}/bin ${CMAKE_CURRENT_BINARY_DIR}/vet-${line}
      ${PROJECT_SOURCE_DIR}/vectors/known-frames.txt)
    set_tests_properties(vet-${line} PROPERTIES TIMEOUT 900 LABELS once)
  endforeach()
endif()
