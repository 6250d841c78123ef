#!/bin/sh
# SPDX-License-Identifier: Apache-2.0
# usage: whole.sh [BUILD-FOLDER] [FRAMES]
# Measures the whole program on a dump of a million frames (or FRAMES), a fifth of them diagnostic,
# on one core, beside tshark and wc -l, and its memory on that and on twenty times as many. The
# dumps go to a scratch folder (TMPDIR, 2 GB free are needed). Prints medians, and whether each
# bound holds; ends with 1 when one does not.
#
# Build first: cmake --preset release && cmake --build --preset release
# shellcheck disable=SC2086 # what was measured is four numbers: four words
set -eu
root=$(CDPATH='' cd -- "$(dirname -- "$0")/../.." && pwd)
bin=$(CDPATH='' cd -- "${1:-$root/build/release}" && pwd)/bin
frames=${2:-1000000}
runs=${RUNS:-9}
tshark_runs=${TSHARK_RUNS:-3}

least_against_tshark=60
most_against_wc=8
most_memory_kib=32768
most_growth_kib=1024

for program in telltale bench-make-dump bench-measure; do
    [ -x "$bin/$program" ] || { echo "no $bin/$program: build it first" >&2; exit 2; }
done
for tool in tshark wc cmp taskset awk; do
    command -v "$tool" >/dev/null || { echo "$tool is needed" >&2; exit 2; }
done
scratch=$(mktemp -d "${TMPDIR:-/tmp}/telltale-bench.XXXXXX")
trap 'rm -rf "$scratch"' EXIT
trap 'exit 130' INT TERM
cd "$scratch"

failed=0
check() { # NAME FIGURE UNIT "at least"|"at most" BOUND
    if awk "BEGIN { exit !($2 $([ "$4" = "at least" ] && echo '>=' || echo '<=') $5) }"; then
        verdict=pass
    else
        verdict=FAIL
        failed=1
    fi
    printf '%-4s  %-52s %10s %-6s (%s %s)\n' "$verdict" "$1" "$2" "$3" "$4" "$5"
}
# Prints four numbers: median wall and processor time, least wall time, memory.
measure() { taskset -c "${CORE:-0}" "$bin/bench-measure" "$@"; }
wall() { echo "$1"; }
kib() { echo "$4"; }
ratio() { awk "BEGIN { printf \"%.1f\", $1 / $2 }"; }
seconds() { awk "BEGIN { printf \"%.3f\", $1 / 1000000 }"; }
decode() { set -- "$bin/telltale" decode "$@" --as csv --only 0C; "$@"; }

echo "$frames frames; $(grep -m 1 'model name' /proc/cpuinfo | cut -d: -f2 | sed 's/^ //'), one core"
"$bin/bench-make-dump" pcap "$frames" m.pcap 2>speeds
"$bin/bench-make-dump" pcapng "$frames" m.pcapng 2>/dev/null
"$bin/bench-make-dump" log "$frames" m.log 2>/dev/null
speeds=$(cut -d' ' -f1 speeds)

# The same answer whatever the form of the dump, file or pipe; and as tshark has it.
decode m.pcap >pcap.csv
decode m.pcapng | sed 's/,can0,/,,/' >pcapng.csv
decode m.log | sed 's/,can0,/,,/' >log.csv
decode - <m.pcap >redirected.csv
# shellcheck disable=SC2002 # a pipe is what is tested
cat m.pcap | decode - >piped.csv
cmp pcap.csv pcapng.csv
cmp pcap.csv log.csv
cmp pcap.csv redirected.csv
cmp pcap.csv piped.csv
rows=$(($(wc -l <pcap.csv) - 1))
[ "$rows" = "$speeds" ] || { echo "$rows rows for $speeds engine speeds" >&2; exit 1; }

set -- tshark -r m.pcap -o iso15765.can.ids:0x7df-0x7ef -d iso15765.subdissector,obd-ii \
    -Y obd-ii -T fields -e frame.time_epoch -e obd-ii.mode01_engine_rpm
"$@" 2>/dev/null | awk '$2 != "" { print $2 + 0 }' >tshark.values
awk -F, 'NR > 1 { print $8 + 0 }' pcap.csv >our.values
cmp tshark.values our.values
echo "$rows engine speeds, the same as tshark's, from pcap, pcapng and log, file and pipe"
echo

tshark=$(measure "$tshark_runs" "$@")
pcap=$(measure "$runs" "$bin/telltale" decode m.pcap --as csv --only 0C)
pcapng=$(measure "$runs" "$bin/telltale" decode m.pcapng --as csv --only 0C)
wc=$(measure "$runs" wc -l m.log)
log=$(measure "$runs" "$bin/telltale" decode m.log --as csv --only 0C)
show() { printf '%-20s %8s s  (processor %s s)\n' "$1" "$(seconds "$2")" "$(seconds "$3")"; }
show "tshark" $tshark
show "telltale, pcap" $pcap
show "telltale, pcapng" $pcapng
show "telltale, log" $log
show "wc -l, log" $wc
echo
check "pcap to engine speed, times as fast as tshark" "$(ratio "$(wall $tshark)" "$(wall $pcap)")" x \
    "at least" "$least_against_tshark"
check "log to engine speed, against the time of wc -l" "$(ratio "$(wall $log)" "$(wall $wc)")" x \
    "at most" "$most_against_wc"

memory() { # NAME MEASURED
    check "$1" "$(kib $2)" KiB "at most" "$most_memory_kib"
}
memory "memory, pcap, $frames frames" "$pcap"
memory "memory, log, $frames frames" "$log"

# Twenty times as many: the pcap as a file, the log through a pipe.
"$bin/bench-make-dump" pcap "$((20 * frames))" large.pcap 2>/dev/null
large=$(measure 1 "$bin/telltale" decode large.pcap --as csv --only 0C)
mkfifo pipe
"$bin/bench-make-dump" log "$((20 * frames))" pipe 2>/dev/null &
large_log=$(measure -i pipe 1 "$bin/telltale" decode - --as csv --only 0C)
wait
memory "memory, pcap, 20 times as many frames" "$large"
memory "memory, log through a pipe, 20 times as many frames" "$large_log"
check "growth from one to twenty, pcap" "$(($(kib $large) - $(kib $pcap)))" KiB "at most" \
    "$most_growth_kib"
check "growth from one to twenty, log" "$(($(kib $large_log) - $(kib $log)))" KiB "at most" \
    "$most_growth_kib"
report=$(measure 1 "$bin/telltale" report large.pcap --as json)
memory "memory, report, 20 times as many frames" "$report"
exit "$failed"
