# SPDX-License-Identifier: Apache-2.0
# The library as others get it: installed (static and shared) and found by find_package and by
# pkg-config, and as a subdirectory of their own build. The static one installs this build; the
# others build the library anew, in a scratch folder that later runs use again.
if(NOT TELLTALE_SANITIZE)
  foreach(kind static shared subdirectory)
    add_test(NAME install-${kind} COMMAND sh ${CMAKE_CURRENT_LIST_DIR}/install/run.sh
      ${kind} ${PROJECT_SOURCE_DIR} ${CMAKE_CURRENT_BINARY_DIR}/install-${kind}
      ${CMAKE_CXX_COMPILER} "${CMAKE_CXX_COMPILER_LAUNCHER}" ${CMAKE_BINARY_DIR})
    # Once is enough: other presets leave tests of this label out.
    set_tests_properties(install-${kind} PROPERTIES TIMEOUT 900 LABELS once COST 50)
  endforeach()
endif()
