# SPDX-License-Identifier: Apache-2.0
# cmake -D OUT=file.cpp -D FOLDER=... -D PLOT=script;style;licence -P embed.cmake
# Writes each file as an array of bytes; a file "none" becomes an empty one.
list(GET PLOT 0 plot_js)
list(GET PLOT 1 plot_css)
list(GET PLOT 2 plot_licence)
set(text "// Made by embed.cmake.\n#include \"page_parts.hpp\"\n\nnamespace telltale::page {\n")
function(embed name file)
  set(bytes)
  if(NOT file STREQUAL "none")
    file(READ "${file}" hex HEX)
    string(REGEX REPLACE "([0-9a-f][0-9a-f])" "0x\\1," bytes "${hex}")
  endif()
  string(APPEND text "static const unsigned char ${name}_bytes[] = {${bytes}0};\n"
    "std::string_view ${name}() {\n"
    "    return {reinterpret_cast<const char*>(${name}_bytes), sizeof ${name}_bytes - 1};\n}\n")
  set(text "${text}" PARENT_SCOPE)
endfunction()
embed(html "${FOLDER}/page.html")
embed(css "${FOLDER}/page.css")
embed(js "${FOLDER}/page.js")
embed(plot_js "${plot_js}")
embed(plot_css "${plot_css}")
embed(plot_licence "${plot_licence}")
string(APPEND text "} // namespace telltale::page\n")
file(WRITE "${OUT}" "${text}")
