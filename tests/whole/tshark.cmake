# SPDX-License-Identifier: Apache-2.0
# Our decoding held against tshark's. The program fails where there is no tshark.
add_executable(test-tshark
  whole/tshark/values.cpp whole/tshark/reassembly.cpp whole/tshark/isotp.cpp
  $<TARGET_OBJECTS:telltale-test-main>)
telltale_target(test-tshark)
telltale_test_headers(test-tshark)
target_link_libraries(test-tshark PRIVATE telltale::decode doctest::doctest)
add_test(NAME tshark COMMAND test-tshark)
set_tests_properties(tshark PROPERTIES TIMEOUT 300)
