#!/bin/sh
# SPDX-License-Identifier: Apache-2.0
# dumps.sh PROGRAM SCRATCH: what `telltale mimic --into` writes, as others see it.
set -eu
program=$1
scratch=$2
rm -rf "$scratch"
mkdir -p "$scratch"
cd "$scratch"
failed=0
bad() {
    echo "FAILED: $*"
    failed=1
}

# The same seed writes the same bytes, another one others.
"$program" mimic --into a.pcapng --seconds 20 --seed 5
"$program" mimic --into b.pcapng --seconds 20 --seed 5
"$program" mimic --into c.pcapng --seconds 20 --seed 6
cmp a.pcapng b.pcapng || bad "one seed, two dumps"
cmp -s a.pcapng c.pcapng && bad "two seeds, one dump"

# tshark finds no malformed frame, and reads the same VIN.
if command -v tshark >/dev/null; then
    for kind in "--fuel petrol" "--fuel diesel --ecus 4" "--29-bit" "--uds" \
        "--fault short:intake --pending-every 5 --busy-every 7"; do
        # shellcheck disable=SC2086
        "$program" mimic --into kind.pcapng --seconds 6 --seed 11 $kind
        ids=ids:0x7df-0x7ef
        case $kind in *29-bit*) ids=extended_ids:0x18da00f1-0x18dbffff ;; esac
        dissector=obd-ii
        case $kind in *uds*) dissector=uds ;; esac
        tshark -n -r kind.pcapng -o "iso15765.can.$ids" -d "iso15765.subdissector,$dissector" \
            -Y _ws.malformed >malformed.txt 2>/dev/null || bad "tshark on $kind"
        [ ! -s malformed.txt ] || { head -3 malformed.txt; bad "malformed: $kind"; }
        frames=$(tshark -n -r kind.pcapng 2>/dev/null | wc -l)
        [ "$frames" -gt 200 ] || bad "$kind: only $frames frames"
    done
    vin=$("$program" decode a.pcapng --only VIN 2>/dev/null | sed -n 's/.*number \([0-9A-Z]\{17\}\).*/\1/p' |
        head -1)
    tshark -n -r a.pcapng -o iso15765.can.ids:0x7df-0x7ef -d iso15765.subdissector,obd-ii \
        -T fields -e obd-ii.VIN 2>/dev/null | grep -q "^${vin:-none}\$" ||
        bad "tshark reads another VIN than $vin"
fi

# The report shows what is wrong with it.
"$program" mimic --into sick.pcapng --seconds 40 --seed 3 --fault open:coolant --code P0442
"$program" report sick.pcapng >report.txt
for words in 'P0118' 'P0442' 'Lamp (MIL) *ON; 2 confirmed' 'Damage *none found' \
    'check digit right' 'Freeze frame'; do
    grep -q "$words" report.txt || bad "the report does not say '$words'"
done
"$program" mimic --into sound.pcapng --seconds 40 --seed 3
"$program" report sound.pcapng >report.txt
grep -q 'Stored codes *none' report.txt || bad "a sound vehicle has codes"
"$program" mimic --into - --seconds 1 | "$program" report - >report.txt
grep -q 'ECU 7E9' report.txt || bad "no second ECU through a pipe"

# Wrong usage is explained, and says 2.
for wrong in "" "--into x --fault nothing:map" "--into x --fault offset:nose" "--into x --code P9" \
    "--into x --silent 3" "--into x --ecus 9" "nowhere:x" "dump:a.pcapng" "can:nosuch0" \
    "--into /nonexistent/x"; do
    status=0
    # shellcheck disable=SC2086
    "$program" mimic $wrong >out.txt 2>err.txt || status=$?
    [ "$status" -eq 2 ] || bad "mimic $wrong: exit status $status"
    [ -s err.txt ] || bad "mimic $wrong: says nothing"
    [ ! -s out.txt ] || bad "mimic $wrong: says it on standard output"
done
exit $failed
