#!/bin/sh
# SPDX-License-Identifier: Apache-2.0
# firmware.sh: links firmware.cpp for a Cortex-M4 with the sources that decode messages, without start-up
# code, exceptions, run-time types and heap, and prints its size in bytes: flash is text + data, RAM is
# data + bss and the stack. Fails when anything of a heap is in it. Folder build/cross, or WORK.
# What is not there: message/stream.cpp and isotp, which take their memory when they are made.
set -eu
here=$(CDPATH='' cd -- "$(dirname -- "$0")" && pwd)
root=$(CDPATH='' cd -- "$here/../.." && pwd)
work=${WORK:-$root/build/cross}/firmware
cd "$root"
# shellcheck source=../support/packages.sh
. tests/support/packages.sh
need arm-none-eabi-g++:gcc-arm-none-eabi libstdc++-arm-none-eabi-newlib libexpected-dev
mkdir -p "$work/include"
ln -sfn /usr/include/tl "$work/include/tl"
sources=$(ls lib/src/base/*.cpp lib/src/frame/*.cpp lib/src/catalogue/*.cpp lib/src/message/*.cpp |
    grep -v -e message/stream -e message/old_lines)
sed 's/@PROJECT_VERSION[A-Z_]*@/0/' lib/include/telltale/version.h.in >"$work/version.h"
# shellcheck disable=SC2086 # words are wanted
sh lib/cmake/amalgamate.sh lib "$work/version.h" "$work" $sources
arm-none-eabi-g++ -mcpu=cortex-m4 -mthumb -Os -std=c++20 -fno-exceptions -fno-rtti \
    -fstack-usage -ffunction-sections -fdata-sections -fno-threadsafe-statics -Wall -Wextra -Wno-restrict -Werror \
    -I"$work" -isystem "$work/include" "$here/firmware.cpp" "$work/telltale.cpp" \
    -nostartfiles -Wl,-e,start -Wl,--gc-sections --specs=nano.specs -o "$work/firmware.elf"
arm-none-eabi-size "$work/firmware.elf"
echo "most stack of one function:"
cat "$work"/*.su | sort -t "$(printf '\t')" -k 2,2nr | head -n 3
heap=$(arm-none-eabi-nm -C "$work/firmware.elf" | grep -E ' (malloc|free|_sbrk|operator new.*)$' || true)
[ -z "$heap" ] || {
    printf 'a heap:\n%s\n' "$heap"
    exit 1
}
