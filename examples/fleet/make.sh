#!/bin/sh
# SPDX-License-Identifier: Apache-2.0
# make.sh FOLDER: the dumps of ten invented vans, four visits each between March and September.
# Nothing of it was recorded from a vehicle. TELLTALE names the program where it is not in PATH.
set -eu
[ $# -eq 1 ] || { echo "usage: make.sh FOLDER" >&2; exit 2; }
visit() { # VAN DAY SECONDS OPTION...
    van=$1
    day=$2
    seconds=$3
    shift 3
    mkdir -p "$folder/van-$van"
    "${TELLTALE:-telltale}" mimic --seed "${van#0}" --fuel petrol --day "$day" --seconds "$seconds" "$@" \
        --into "$folder/van-$van/$day.pcapng"
}
folder=$1
for van in 01 02 04 05 06 07 08 09 10; do
    for day in 2025-03-04 2025-05-06 2025-07-08; do
        visit "$van" "$day" 30
    done
done
# Van 03: its air flow meter tells less from visit to visit, and the trims follow.
visit 03 2025-03-04 240
visit 03 2025-05-06 240 --fault scaling:maf=0.97
visit 03 2025-07-08 240 --fault scaling:maf=0.94
visit 03 2025-09-09 240 --fault scaling:maf=0.91
# The others as they came in September.
for van in 01 02 04 06 08 10; do
    visit "$van" 2025-09-09 30
done
visit 05 2025-09-09 30 --just-cleared               # incomplete monitors
visit 07 2025-09-09 30 --fault open:intake@10       # a pending code
visit 09 2025-09-09 30 --code P0420                 # a stored code, long known
