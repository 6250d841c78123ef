# SPDX-License-Identifier: Apache-2.0
# The program from outside: what it prints, its exit statuses, bad input, its bounds.
if(TARGET telltale)
  find_package(nlohmann_json REQUIRED)
  add_executable(check-jsonl ${CMAKE_CURRENT_LIST_DIR}/program/check_jsonl.cpp)
  telltale_target(check-jsonl)
  target_link_libraries(check-jsonl PRIVATE nlohmann_json::nlohmann_json)
  add_executable(measure ${CMAKE_CURRENT_LIST_DIR}/program/measure.cpp)
  telltale_target(measure)
  # The sanitizers take memory of their own: then there is no bound to hold the program to.
  if(TELLTALE_SANITIZE)
    set(bound 100000000)
  else()
    set(bound 32768)
  endif()
  foreach(part manners output hostile bounds)
    add_test(NAME program-${part} COMMAND sh ${CMAKE_CURRENT_LIST_DIR}/program/${part}.sh
      $<TARGET_FILE:telltale> ${PROJECT_SOURCE_DIR} ${CMAKE_CURRENT_BINARY_DIR}/program-${part}
      $<TARGET_FILE:check-jsonl> $<TARGET_FILE:measure> ${bound})
    set_tests_properties(program-${part} PROPERTIES TIMEOUT 900 COST 20)
  endforeach()
endif()
