# SPDX-License-Identifier: Apache-2.0
# The small programs of examples/embed print what they should; the plain loop allocates nothing.
if(TARGET embed-decode_bytes)
  add_executable(embed-plain_loop-counted ${PROJECT_SOURCE_DIR}/examples/embed/plain_loop.cpp
    ${CMAKE_CURRENT_LIST_DIR}/embed/forbid_new.cpp)
  telltale_target(embed-plain_loop-counted)
  target_link_libraries(embed-plain_loop-counted PRIVATE telltale::decode)

  add_test(NAME embed-decode_bytes COMMAND embed-decode_bytes)
  # 1AF8 / 4 and 7B - 40 (ISO 15031-5 annex B, PIDs 0C and 05).
  set_tests_properties(embed-decode_bytes PROPERTIES PASS_REGULAR_EXPRESSION
    "^Engine speed: 1726[.]0 rpm\nEngine coolant temperature: 83 °C\n$")
  foreach(name embed-plain_loop embed-plain_loop-counted)
    add_test(NAME ${name} COMMAND ${name})
    # 0C30 / 4, 015F / 100, 72 - 40 (hex and decimal as in the standard).
    set_tests_properties(${name} PROPERTIES PASS_REGULAR_EXPRESSION
      "^780 1/min, 3[.]51 g/s, 74 C, 0 problems\n$")
  endforeach()
  add_test(NAME embed-own_parameters COMMAND embed-own_parameters)
  set_tests_properties(embed-own_parameters PROPERTIES PASS_REGULAR_EXPRESSION # 0D48 / 10
    "^Oil pressure before the filter: 340[.]0 kPa\n$")
  add_test(NAME embed-read_dump COMMAND sh ${CMAKE_CURRENT_LIST_DIR}/embed/read_dump.sh
    $<TARGET_FILE:embed-read_dump> ${PROJECT_SOURCE_DIR}/examples/demo/bad.pcapng)
  if(TARGET embed-own_link)
    add_test(NAME embed-own_link COMMAND embed-own_link)
    # 1AF8 / 4 (ISO 15031-5, PID 0C).
    set_tests_properties(embed-own_link PROPERTIES PASS_REGULAR_EXPRESSION "^1726 rpm\n$")
  endif()
  if(TARGET embed-poll_value)
    add_test(NAME embed-poll_value COMMAND sh ${CMAKE_CURRENT_LIST_DIR}/embed/poll_value.sh
      $<TARGET_FILE:embed-poll_value> $<TARGET_FILE:telltale>)
    set_tests_properties(embed-poll_value PROPERTIES TIMEOUT 60)
  endif()
endif()
