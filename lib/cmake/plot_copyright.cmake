# SPDX-License-Identifier: Apache-2.0
# Run when the program's package is put together: adds the plotting library, which is in the pages that
# the program writes, to the package's copyright file. `plot_licence` is its licence, where it was fetched.
if(EXISTS "${plot_licence}")
  file(READ "${plot_licence}" text)
  string(STRIP "${text}" text)
  string(REGEX MATCH "Copyright [^\n]*" holder "${text}")
  string(REGEX REPLACE "^Copyright (\\(c\\) )?" "" holder "${holder}")
  string(REGEX REPLACE "\n\n+" "\n.\n" text "${text}")
  string(REPLACE "\n" "\n " text "${text}")
  file(APPEND "$ENV{DESTDIR}${CMAKE_INSTALL_PREFIX}/share/doc/telltale/copyright"
    "\nFiles: uPlot\nCopyright: ${holder}\nLicense: MIT\n ${text}\n"
    "Comment: In the program, for the pages that it writes.\n")
endif()
