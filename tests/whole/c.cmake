# SPDX-License-Identifier: Apache-2.0
# The C interface: used from C11 (shared library), with memory that runs out at every allocation
# (archive), from LuaJIT's foreign-function interface; value by value against the C++ interface; its
# symbols against their list.
function(c_program name)
  add_executable(${name} ${ARGN})
  set_target_properties(${name} PROPERTIES
    C_STANDARD 11 C_STANDARD_REQUIRED ON C_EXTENSIONS OFF)
  target_compile_options(${name} PRIVATE
    $<$<COMPILE_LANGUAGE:C>:-Wall -Wextra -Wpedantic -Wconversion -Werror>)
  if(TELLTALE_SANITIZE)
    target_compile_options(${name} PRIVATE -fsanitize=${TELLTALE_SANITIZE} -fno-sanitize-recover=all)
    target_link_options(${name} PRIVATE -fsanitize=${TELLTALE_SANITIZE})
    set_target_properties(${name} PROPERTIES LINKER_LANGUAGE CXX)
  endif()
endfunction()
set(c_demo ${PROJECT_SOURCE_DIR}/examples/demo)
set(c_maker ${PROJECT_SOURCE_DIR}/examples/maker/harrow.csv)

c_program(test-c ${CMAKE_CURRENT_LIST_DIR}/c/use.c
  ${CMAKE_CURRENT_LIST_DIR}/c/own.c)
target_link_libraries(test-c PRIVATE telltale::c $<$<BOOL:${UNIX}>:m>)
add_test(NAME c COMMAND test-c ${c_demo}/good.pcapng ${c_demo}/bad.pcapng ${c_maker})
set_tests_properties(c PROPERTIES TIMEOUT 120)
c_program(test-c-memory ${CMAKE_CURRENT_LIST_DIR}/c/memory.c
  ${CMAKE_CURRENT_LIST_DIR}/c/fail_new.cpp)
target_compile_features(test-c-memory PRIVATE cxx_std_20)
target_link_libraries(test-c-memory PRIVATE telltale::c-static)
add_test(NAME c-memory COMMAND test-c-memory ${c_demo}/good.pcapng ${c_demo}/bad.pcapng ${c_maker})
set_tests_properties(c-memory PROPERTIES TIMEOUT 120)
add_executable(test-c-same ${CMAKE_CURRENT_LIST_DIR}/c/same.cpp)
telltale_target(test-c-same)
target_link_libraries(test-c-same PRIVATE telltale::c-static telltale::decode)
add_test(NAME c-same COMMAND test-c-same ${c_maker})
set_tests_properties(c-same PROPERTIES TIMEOUT 120)
if(CMAKE_EXECUTABLE_FORMAT STREQUAL "ELF")
  add_test(NAME c-symbols COMMAND sh ${CMAKE_CURRENT_LIST_DIR}/c/symbols.sh
    $<TARGET_FILE:telltale-c> ${PROJECT_SOURCE_DIR}/lib/include/telltale.h)
endif()
# A scripting language's own program has no sanitizer's library in it.
if(NOT TELLTALE_SANITIZE)
  add_test(NAME c-lua COMMAND sh ${CMAKE_CURRENT_LIST_DIR}/c/lua.sh $<TARGET_FILE:telltale-c>
    ${PROJECT_SOURCE_DIR} ${CMAKE_C_COMPILER} ${PROJECT_BINARY_DIR}/lib/include
    ${CMAKE_BINARY_DIR}/bin/telltale)
  set_tests_properties(c-lua PROPERTIES LABELS once TIMEOUT 120)
endif()
if(TARGET embed-values)
  add_test(NAME embed-values COMMAND sh ${CMAKE_CURRENT_LIST_DIR}/c/values.sh
    $<TARGET_FILE:embed-values> ${c_demo}/bad.pcapng)
endif()
