#!/bin/sh
# SPDX-License-Identifier: Apache-2.0
# What runs inside the machine that run.sh starts, as busybox's shell: the test program with the
# arguments given, and telltale with a simulated vehicle, where they are there. Its exit status is
# the test's.
set -u
fail() {
    echo "FAILED: $*"
    exit 1
}
carried() { # frames that the kernel has carried on the interface since it was made
    cat /sys/class/net/vcan0/statistics/tx_packets
}
vin() { # REPORT
    sed -n 's/.*VIN \([0-9A-Z]\{17\}\),.*/\1/p' "$1" | head -n 1
}

if command -v test-kernel >/dev/null; then
    test-kernel --no-colors --duration "$@" || exit 1
fi
command -v telltale >/dev/null || exit 0

# A vehicle on the line, read by its report; the same seed straight into a dump.
cd /tmp || exit 1
before=$(carried)
telltale mimic can:vcan0 --seed 5 --ecus 3 >mimic.txt 2>&1 &
mimic=$!
wait_for() { # FILE PATTERN: a line of that kind
    tries=0
    until grep -qs "$2" "$1"; do
        tries=$((tries + 1))
        [ $tries -lt 600 ] || fail "no '$2' in $1"
        usleep 100000
    done
}
wait_for mimic.txt can:vcan0
telltale report can:vcan0 --save live.pcapng >live.txt || fail "report of the line: $?"
frames=$(($(carried) - before))
telltale report live.pcapng >saved.txt || fail "report of what was saved: $?"
telltale mimic --into other.pcapng --seconds 20 --seed 5 --ecus 3 || fail "mimic into a dump"
telltale report other.pcapng >other.txt || fail "report of the mimic's dump"
[ -n "$(vin live.txt)" ] && [ "$(vin live.txt)" = "$(vin other.txt)" ] ||
    fail "VIN '$(vin live.txt)' on the line, '$(vin other.txt)' in the dump"
grep -q "(pcapng, $frames frames)" saved.txt ||
    fail "the kernel carried $frames frames: $(grep pcapng saved.txt)"
# All but the heads is the same, whether it was heard or read.
for report in live saved; do
    sed '1,/^  Vehicle/d' $report.txt >$report-body.txt
    [ "$(wc -l <$report-body.txt)" -gt 50 ] || fail "$report: a short report"
done
cmp live-body.txt saved-body.txt || fail "the report of the line and that of its dump differ"
echo "telltale: a vehicle on vcan0 read and saved, $frames frames, $(wc -l <live.txt) lines of report"

# A drive is recorded, with a mark in the midst of it: every frame that the kernel carried is kept,
# but for the answers to what was asked last.
before=$(carried)
mkfifo keys
exec 3<>keys # which does not end
telltale record can:vcan0 --for 12s -o drive.pcapng <&3 >record.txt 2>said.txt &
recorder=$!
wait_for record.txt :
echo >&3
wait $recorder || fail "record: $? $(cat said.txt)"
sleep 1
frames=$(($(carried) - before))
telltale report drive.pcapng >drive.txt || fail "report of the recorded drive: $?"
kept=$(sed -n 's/.*(pcapng, \([0-9]*\) frames).*/\1/p' drive.txt)
[ "$kept" -gt 100 ] || fail "only '$kept' frames recorded"
[ "$kept" -le "$frames" ] && [ "$((frames - kept))" -le 12 ] ||
    fail "the kernel carried $frames frames, $kept are kept"
[ "$(wc -l <record.txt)" -gt 20 ] || fail "few values shown: $(cat record.txt said.txt)"
grep -aq 'mark' drive.pcapng || fail "no mark in the recorded drive"
kill $mimic
echo "telltale: a drive recorded, $kept of $frames frames, $(wc -l <record.txt) lines of values"
