#!/bin/sh
# SPDX-License-Identifier: Apache-2.0
# poll_value.sh PROGRAM TELLTALE: polls a simulated vehicle behind an adapter on a pseudo terminal.
set -eu
out=$(mktemp)
"$2" mimic slcan:pty --seed 3 >"$out" 2>&1 &
mimic=$!
trap 'kill $mimic 2>/dev/null; rm -f "$out"' EXIT
tries=0
until link=$(grep -m1 '^slcan:' "$out"); do
    tries=$((tries + 1))
    [ "$tries" -lt 300 ] || exit 1
    sleep 0.1
done
lines=$("$1" "$link" | grep -cE '^[0-9]+[.][0-9]{2} rpm$')
[ "$lines" = 10 ] || { echo "FAILED: $lines lines"; exit 1; }
if "$1" nonsense 2>/dev/null; then echo "FAILED: a wrong name was taken"; exit 1; fi
