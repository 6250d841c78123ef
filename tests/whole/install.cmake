# SPDX-License-Identifier: Apache-2.0
# The library as others get it: installed static (this build), found by find_package, by pkg-config and
# by a plain compiler; shared, fetched from a repository by FetchContent into another project (built
# anew in a scratch folder that later runs use again) and installed from there; as a subdirectory.
# The parts beside decode are used in the same way, each by its own component.
if(NOT TELLTALE_SANITIZE)
  foreach(kind static shared subdirectory)
    add_test(NAME install-${kind} COMMAND sh ${CMAKE_CURRENT_LIST_DIR}/install/run.sh
      ${kind} ${PROJECT_SOURCE_DIR} ${CMAKE_CURRENT_BINARY_DIR}/install-${kind}
      ${CMAKE_CXX_COMPILER} "${CMAKE_CXX_COMPILER_LAUNCHER}" ${CMAKE_BINARY_DIR})
    # Once is enough: other presets leave tests of this label out.
    set_tests_properties(install-${kind} PROPERTIES TIMEOUT 900 LABELS once COST 50)
  endforeach()
endif()
