# SPDX-License-Identifier: Apache-2.0
# `telltale contrast` from outside: its forms, its exit statuses, bad and hostile input.
if(TARGET telltale)
  find_package(nlohmann_json REQUIRED)
  add_executable(check-contrast ${CMAKE_CURRENT_LIST_DIR}/contrast/check.cpp)
  telltale_target(check-contrast)
  target_link_libraries(check-contrast PRIVATE nlohmann_json::nlohmann_json)
  add_test(NAME contrast-program COMMAND sh ${CMAKE_CURRENT_LIST_DIR}/contrast/run.sh
    $<TARGET_FILE:telltale> ${PROJECT_SOURCE_DIR} ${CMAKE_CURRENT_BINARY_DIR}/contrast-program
    $<TARGET_FILE:check-contrast>)
  set_tests_properties(contrast-program PROPERTIES TIMEOUT 300 COST 45)
endif()
