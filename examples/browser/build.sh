#!/bin/sh
# SPDX-License-Identifier: Apache-2.0
# build.sh AMALGAMATION OUT: makes OUT/telltale.html, one page that decodes a dump in the browser, with
# Emscripten (Debian: emscripten). AMALGAMATION is the folder that the target `amalgamation` writes.
set -eu
here=$(CDPATH='' cd -- "$(dirname -- "$0")" && pwd)
amalgamation=$1
out=$2
mkdir -p "$out/include"
# tl::expected is headers; the others beside it are those of another machine.
ln -sfn "${TL_EXPECTED:-/usr/include/tl}" "$out/include/tl"
# Another node than Debian's does not look where Debian has its modules.
NODE_PATH=${NODE_PATH:-/usr/share/nodejs}
export NODE_PATH
flags='-std=c++20 -Os -fno-exceptions -fno-rtti -Wall -Wextra'
# shellcheck disable=SC2086 # words are wanted
emcc $flags -isystem "$out/include" -c "$amalgamation/telltale.cpp" -o "$out/telltale.o"
# shellcheck disable=SC2086
emcc $flags -isystem "$out/include" -I"$amalgamation" "$here/decode.cpp" "$out/telltale.o" -o "$out/telltale.js" \
    -sSINGLE_FILE=1 -sENVIRONMENT=web -sALLOW_MEMORY_GROWTH=1 -sFILESYSTEM=0 \
    -sEXPORTED_RUNTIME_METHODS=UTF8ToString
awk -v script="$out/telltale.js" '
    $0 == "@telltale.js@" { while ((getline line < script) > 0) print line; next }
    { print }' "$here/page.html" >"$out/telltale.html"
