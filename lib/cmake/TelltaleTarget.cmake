# SPDX-License-Identifier: Apache-2.0
# Settings that every target of the project shares.

function(telltale_target name)
  target_compile_features(${name} PUBLIC cxx_std_20)
  set_target_properties(${name} PROPERTIES
    CXX_EXTENSIONS OFF
    CXX_VISIBILITY_PRESET hidden
    VISIBILITY_INLINES_HIDDEN ON
    POSITION_INDEPENDENT_CODE ON)
  target_compile_options(${name} PRIVATE -Wall -Wextra -Wpedantic -Wconversion -Wshadow)
  if(CMAKE_CXX_COMPILER_ID STREQUAL "GNU" AND CMAKE_CXX_COMPILER_VERSION VERSION_LESS 13)
    # GCC 12 warns of "text" + std::string where nothing overlaps (its bug 105651).
    target_compile_options(${name} PRIVATE -Wno-restrict)
  endif()
  if(CMAKE_CXX_COMPILER_ID STREQUAL "Clang" AND CMAKE_CXX_COMPILER_VERSION VERSION_GREATER_EQUAL 15)
    # std::stable_sort of libstdc++ 12 uses what the same library calls deprecated.
    target_compile_options(${name} PRIVATE -Wno-deprecated-declarations)
  endif()
  if(TELLTALE_WERROR)
    target_compile_options(${name} PRIVATE -Werror)
  endif()
  if(TELLTALE_SANITIZE)
    target_compile_options(${name} PRIVATE
      -fsanitize=${TELLTALE_SANITIZE} -fno-sanitize-recover=all -fno-omit-frame-pointer)
    target_link_options(${name} PRIVATE -fsanitize=${TELLTALE_SANITIZE})
  endif()
  if(TELLTALE_FUZZ)
    target_compile_options(${name} PRIVATE -fsanitize=fuzzer-no-link)
  endif()
endfunction()
