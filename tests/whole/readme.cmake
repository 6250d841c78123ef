# SPDX-License-Identifier: Apache-2.0
# The commands that README.md shows print what it shows.
if(TARGET telltale)
  add_test(NAME readme COMMAND sh ${CMAKE_CURRENT_LIST_DIR}/readme/run.sh ${PROJECT_SOURCE_DIR}
    ${CMAKE_BINARY_DIR}/bin ${CMAKE_CURRENT_BINARY_DIR}/readme)
endif()
