#!/bin/sh
# SPDX-License-Identifier: Apache-2.0
# tshark.sh PROGRAM DUMP SCRATCH: tshark, which nobody here wrote, decodes the same values from the
# bundled dump: every equivalence ratio and pump current; and no frame of it is malformed. (It shows
# messages of several PIDs undecoded, so the others have no partner.)
set -eu
program=$1
dump=$2
scratch=$3
mkdir -p "$scratch"
told() { # OPTION...: tshark on the dump
    tshark -n -r "$dump" -o iso15765.can.ids:0x7df-0x7ef -d iso15765.subdissector,obd-ii "$@" \
        2>/dev/null
}

malformed=$(told -Y _ws.malformed | wc -l)
[ "$malformed" -eq 0 ] || { echo "$malformed malformed frames"; exit 1; }

told -Y obd-ii.mode01_oxygen_sensor_current -T fields -e frame.time_epoch \
    -e obd-ii.mode01_oxygen_sensor_fuel_air_ratio -e obd-ii.mode01_oxygen_sensor_current |
    tr '\t' ' ' >"$scratch/tshark.txt"
"$program" decode "$dump" --as csv --only 34 2>/dev/null | grep ',response,' |
    sed 's/"[^"]*"//g' | awk -F, '{ if ($1 == time) print time, value, $8; time = $1; value = $8 }' \
    >"$scratch/ours.txt"
count=$(wc -l <"$scratch/tshark.txt")
[ "$count" -gt 200 ] || { echo "only $count messages to compare"; exit 1; }
[ "$count" -eq "$(wc -l <"$scratch/ours.txt")" ] || { echo "counts differ"; exit 1; }
paste -d ' ' "$scratch/tshark.txt" "$scratch/ours.txt" >"$scratch/both.txt"
awk '
    function far(a, b) { return a - b > 1e-9 || b - a > 1e-9 }
    $1 - $4 != 0 || far($2, $5) || far($3, $6) { print "differs: " $0; bad = 1 }
    END { exit bad }' "$scratch/both.txt" >"$scratch/differs.txt" ||
    { head "$scratch/differs.txt"; exit 1; }
echo "$count messages agree"
