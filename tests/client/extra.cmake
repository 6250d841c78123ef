# SPDX-License-Identifier: Apache-2.0
# The other side of the line, and what runs a client on a link.
target_link_libraries(test-client PRIVATE telltale-mimic telltale-client-live util)
if(TARGET telltale)
  add_dependencies(test-client telltale)
endif()
