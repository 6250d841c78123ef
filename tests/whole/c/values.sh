#!/bin/sh
# SPDX-License-Identifier: Apache-2.0
# values.sh PROGRAM DUMP: it prints as many engine speeds as the bytes of the dump hold, and fails
# where there is no dump.
set -eu
count=$("$1" "$2" | grep -cE '^7E[89] Engine speed: [0-9]+[.][0-9]+ rpm$')
# SocketCAN packets: 000007E8 or 000007E9, length 08, three bytes, then 06 41 0C, or 10 08 42 0C of a
# freeze frame.
bytes=$(od -An -v -tx1 "$2" | tr -d ' \n' | grep -o '000007e[89]08000000\(06410c\|1008420c\)' | wc -l)
if [ "$count" -ne "$bytes" ] || [ "$count" -lt 100 ]; then
    echo "FAILED: $count engine speeds, $bytes in the file"
    exit 1
fi
status=0
"$1" /nowhere 2>/dev/null || status=$?
[ "$status" -eq 2 ] || { echo "FAILED: status $status where there is no file"; exit 1; }
