#!/bin/sh
# SPDX-License-Identifier: Apache-2.0
# lua.sh LIBRARY SOURCE CC INCLUDE PROGRAM: the C interface from a scripting language; what it gives
# is what the program prints, byte for byte. PROGRAM may be missing.
set -eu
library=$1
source=$2
cc=$3
include=$4
program=$5
here=$(CDPATH='' cd -- "$(dirname -- "$0")" && pwd)
scratch=$(mktemp -d)
trap 'rm -rf "$scratch"' EXIT
cd "$source"
good=examples/demo/good.pcapng
bad=examples/demo/bad.pcapng

fail() {
    echo "FAILED: $*"
    exit 1
}

# LuaJIT reads declarations, not directives, and has the types of the standard headers.
touch "$scratch/stddef.h" "$scratch/stdint.h"
"$cc" -E -P -nostdinc -DTELLTALE_C_API= -I"$scratch" -I"$include" -Ilib/include \
    lib/include/telltale.h >"$scratch/declarations"
lua() {
    luajit "$here/values.lua" "$library" "$scratch/declarations" "$@"
}
lua check "$bad" || fail "check"
[ -x "$program" ] || exit 0
lua report "$bad" >"$scratch/report" || fail "report"
"$program" report --as json "$bad" | cmp - "$scratch/report" || fail "the report differs"
lua contrast "$good" "$bad" >"$scratch/contrast" || fail "contrast"
{ "$program" contrast --as json "$good" "$bad" || [ $? -eq 1 ]; } |
    cmp - "$scratch/contrast" || fail "the contrast differs"
