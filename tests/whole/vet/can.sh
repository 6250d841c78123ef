#!/bin/sh
# SPDX-License-Identifier: Apache-2.0
# can.sh BIN WORK KNOWN: `telltale vet` against two serial-line CAN adapters on pseudo terminals, sound
# and with faults; one that is taken off and put back; known frames sent and found in a dump; broken off.
set -eu
known=$3
. "$(dirname -- "$0")/begin.sh"

bus() { # FAULT...
    start 2 "$bin/vet-bus" "$@"
}
against() { # STATUS OPTION...
    want=$1
    shift
    vet "$want" "slcan:$first@500k,times" --against "slcan:$second@500k" "$@"
}

sound() {
    bus none
    against 0 --seconds 2
    expect passed frames-lengths frames-ids-29 frames-remote isotp-messages isotp-padding load-loss \
        load-order load-twice
    # What this line cannot show is not passed.
    expect untested filters errors-reported bus-off-reported replug load-fd
    grep -q 'bench line' said.txt || fail "no word of caution"
    stop
}
judged() {
    sound

    # Of a list of its own: each frame of it that is lost is waited for. The busiest computer carries
    # enough in the bursts for one in ten to be lost.
    printf '%s\n' 'group few A few frames' 'basis common practice' 'data 123 01 02 03 04' >few.txt
    bus drop=10
    against 1 --seconds 4 --known few.txt
    expect failed load-loss
    stop

    bus noise
    against 2 --seconds 2
    expect untested load-loss
    grep -q 'Others speak on this line' out.json || fail "nothing is said of the other traffic"
    stop
}

# Off the computer when the word is given, and back.
unplugged() { # STATUS FAULT
    bus "$2"
    (
        tries=0
        until grep -q 'take the adapter off' said.txt 2>/dev/null; do
            tries=$((tries + 1))
            [ "$tries" -lt 600 ] || exit 1
            sleep 0.1
        done
        kill -USR1 "$other"
    ) &
    hand=$!
    : >said.txt
    vet "$1" "slcan:$PWD/adapter@500k,times" --against "slcan:$second@500k" --seconds 1 --unplug
    wait "$hand"
    stop
}
taken_off() {
    unplugged 0 none
    expect passed replug load-loss
    unplugged 1 deaf
    expect failed replug
    expect passed load-loss
    grep -q 'After it was put back' out.json || fail "it is not said what is wrong"
}

# Known frames sent on the bench, and the dump that the adapter's own software took of them.
sent_and_dumped() { # STATUS FAULT
    bus "$2" log=adapter.log
    "$bin/telltale" vet "slcan:$second@500k" --send --known "$known" --rounds 2 >sent.txt \
        2>said.txt || fail "nothing was sent"
    stop
    grep -q "bench line" said.txt || fail "no word of caution"
    grep -q "CAN FD left out" sent.txt || fail "what was left out is not told"
    vet "$1" --dump adapter.log --known "$known" --classic --rounds 2
}
sends() {
    sent_and_dumped 0 none
    grep -q "^$((2 * $(grep -c '^\(data\|remote\) ' "$known"))) frames sent, 2 whole rounds" sent.txt ||
        fail "sent: $(cat sent.txt)"
    expect passed dump-lost
    expect untested known-fd-lengths
    sent_and_dumped 1 drop=100
    expect failed dump-lost
}

# What its user broke off is no success for a build server either.
broken_off() {
    bus none
    status=0
    timeout --preserve-status -s INT 3 "$bin/telltale" vet "slcan:$first@500k" \
        --against "slcan:$second@500k" --seconds 60 --as junit >out.xml 2>said.txt || status=$?
    stop
    [ "$status" -eq 2 ] || fail "status $status where 2 is due"
    grep -q '<error message="It was broken off by its user." type="broken-off">' out.xml ||
        fail "no error: $(cat out.xml)"
}

. "$here/common.sh"
tests=
for part in judged taken_off sends broken_off; do
    often $part $part &
    tests="$tests $!"
done
for test in $tests; do
    wait "$test"
done
