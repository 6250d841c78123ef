# SPDX-License-Identifier: Apache-2.0
# A vehicle and what asks it; the link's end of a K-line; what vets a DoIP entity.
target_link_libraries(test-vet PRIVATE telltale-mimic telltale-client telltale-vet-live)
