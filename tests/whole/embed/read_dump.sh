#!/bin/sh
# SPDX-License-Identifier: Apache-2.0
# read_dump.sh PROGRAM DUMP: it finds as many engine speeds as there are responses with one in the
# file, by looking at the file's bytes; it tells of the damage; it fails on a file that is not there.
set -eu
count=$("$1" "$2" 2>/dev/null | grep -c ' 1/min$')
# SocketCAN packets: 000007E8 or 000007E9, length 08, three bytes, then 06 41 0C.
bytes=$(od -An -v -tx1 "$2" | tr -d ' \n' | grep -o '000007e[89]0800000006410c' | wc -l)
if [ "$count" -ne "$bytes" ]; then
    echo "$count engine speeds, $bytes in the file"
    exit 1
fi
"$1" "$2" 2>&1 >/dev/null | grep 'at byte [0-9]*: consecutive frame 1 was expected'
if "$1" /nowhere; then
    echo "no failure where there is no file"
    exit 1
fi
