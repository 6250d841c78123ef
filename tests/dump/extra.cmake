# SPDX-License-Identifier: Apache-2.0
# libpcap and the Wireshark tools are what the pcap and pcapng readers and writers are held against.
find_library(PCAP_LIBRARY pcap REQUIRED)
find_program(TSHARK tshark REQUIRED)
find_program(EDITCAP editcap REQUIRED)
find_program(MERGECAP mergecap REQUIRED)
target_link_libraries(test-dump PRIVATE ${PCAP_LIBRARY})
target_compile_definitions(test-dump PRIVATE
  TSHARK="${TSHARK}"
  EDITCAP="${EDITCAP}"
  MERGECAP="${MERGECAP}")
