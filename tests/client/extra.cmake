# SPDX-License-Identifier: Apache-2.0
# The other side of the line.
target_link_libraries(test-client PRIVATE telltale-mimic)
