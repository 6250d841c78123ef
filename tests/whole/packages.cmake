# SPDX-License-Identifier: Apache-2.0
# The Debian packages of this build, installed by dpkg into a root that holds what they say they
# need and nothing else, and used there. Skipped where that cannot be done.
if(TARGET telltale AND NOT TELLTALE_SANITIZE AND NOT BUILD_SHARED_LIBS)
  add_test(NAME packages COMMAND sh ${CMAKE_CURRENT_LIST_DIR}/packages/run.sh
    ${PROJECT_SOURCE_DIR} ${CMAKE_BINARY_DIR} ${CMAKE_CURRENT_BINARY_DIR}/packages)
  set_tests_properties(packages PROPERTIES TIMEOUT 600 LABELS once COST 40 SKIP_RETURN_CODE 77)
endif()
