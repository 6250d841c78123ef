#!/bin/sh
# SPDX-License-Identifier: Apache-2.0
# What runs inside the machine that run.sh starts, as busybox's shell: the test program with the
# arguments given, and, where there are none, telltale with a simulated vehicle. Its exit status
# is the test's.
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

test-kernel --no-colors --duration "$@" || exit 1
[ $# -eq 0 ] && command -v telltale >/dev/null || exit 0

# A vehicle on the line, read by its report; the same seed straight into a dump.
cd /tmp || exit 1
before=$(carried)
telltale mimic can:vcan0 --seed 5 --ecus 3 >mimic.txt 2>&1 &
mimic=$!
for second in 1 2 3 4 5 6 7 8 9 10; do
    grep -qs can:vcan0 mimic.txt && break
    sleep 1
done
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
kill $mimic
echo "telltale: a vehicle on vcan0 read and saved, $frames frames, $(wc -l <live.txt) lines of report"
