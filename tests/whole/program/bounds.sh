#!/bin/sh
# SPDX-License-Identifier: Apache-2.0
# Memory stays within its bound whatever the length of the dump and whatever it says.
. "$(dirname -- "$0")/common.sh"

# FRAMES: a drive of that many frames, a fifth of them diagnostic.
drive() {
    awk -v frames="$1" 'BEGIN { for (i = 0; i < frames; ++i) {
        t = sprintf("%d.%06d", 1700000000 + i / 2000, i % 2000 * 500)
        if (i % 10 == 0) printf "(%s) can0 7DF#02010C0000000000\n", t
        else if (i % 10 == 1) printf "(%s) can0 7E8#04410C%04XAAAAAA\n", t, i * 37 % 16384
        else printf "(%s) can0 %03X#%08X0011\n", t, 256 + i * 7 % 1000, i
    } }'
}

peak() { # WHAT ARGUMENT...: runs the program on `drive.log` or what is piped in
    peak_what=$1
    shift
    "$measure" "$bound" "$program" "$@" >out 2>err
    got=$?
    [ $got -eq 0 ] || fail "$peak_what: status $got: $(tail -n 1 err)"
    echo "$peak_what: $(tail -n 1 err)"
}

drive 20000 >drive.log
for command in 'decode --as text' 'decode --as jsonl' 'decode --as csv' 'decode --as csv --only 0C' \
    report 'report --as json'; do
    # shellcheck disable=SC2086 # words on purpose
    peak "20,000 frames, $command" $command drive.log
done
drive 400000 | peak "400,000 frames through a pipe, CSV" decode --as csv --only 0C -
[ "$(wc -l <out)" -eq 40001 ] || fail "rows of CSV from a pipe"
drive 400000 | peak "400,000 frames through a pipe, report" report -

# More ECUs, values, codes and tests than anybody has.
awk 'BEGIN { for (i = 0; i < 60000; ++i) {
    printf "(%d.%06d) can%d 18DAF1%02X#", i / 1000, i % 1000, i / 256 % 256, i % 256
    k = i % 4
    if (k == 0) printf "0341%02X%02X\n", 4 + i % 120, i % 251
    else if (k == 1) printf "0643%02X%04X%04X\n", 2, i % 65536, i * 7 % 65536
    else if (k == 2) printf "0642%02X%02X%02X%02X%02X\n", i % 100, i % 256, i % 256, i % 99, i % 98
    else printf "037F%02X%02X\n", 1 + i % 10, i % 256
} }' >crowd.log
peak "a crowd, report" report crowd.log
peak "a crowd, report as JSON" report --as json crowd.log
# Every refusal of every service that there can be.
awk 'BEGIN { for (i = 0; i < 65536; ++i)
    printf "(%d.%06d) can0 7E%X#037F%02X%02X\n", i / 1000, i % 1000, 8 + i % 8, i / 256, i % 256 }' \
    >refusals.log
peak "every refusal, report" report refusals.log
peak "a crowd, JSON Lines" decode --as jsonl crowd.log

# It starts at once.
peak "catalogue" catalogue --as csv
peak "one line" decode sample.log

finish
