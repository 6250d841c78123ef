# SPDX-License-Identifier: Apache-2.0
# The link's end of a K-line against the vehicle's.
if(TARGET telltale-link)
  target_link_libraries(test-mimic PRIVATE telltale-link)
  target_compile_definitions(test-mimic PRIVATE TELLTALE_HAS_LINK)
endif()
