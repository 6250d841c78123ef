#!/bin/sh
# SPDX-License-Identifier: Apache-2.0
# run.sh BIN WORK: `telltale vet` against two serial-line CAN adapters on pseudo terminals, sound
# and with faults.
set -eu
bin=$(CDPATH='' cd -- "$1" && pwd)
rm -rf "$2"
mkdir -p "$2"
cd "$2"
bus=
trap '[ -z "$bus" ] || kill "$bus" 2>/dev/null || true' EXIT
fail() {
    echo "FAILED: $*"
    for file in said.txt out.json; do [ ! -s $file ] || { echo "--- $file"; cat $file; }; done
    exit 1
}
mkfifo hold
exec 3<>hold # nothing ever comes from it, nor does it end
start_bus() { # FAULT
    : >bus.txt
    "$bin/vet-bus" "$1" <&3 >bus.txt &
    bus=$!
    tries=0
    until [ "$(wc -l <bus.txt)" -eq 2 ]; do
        tries=$((tries + 1))
        [ "$tries" -lt 100 ] || fail "the bus does not start"
        sleep 0.1
    done
    first=$(sed -n 1p bus.txt)
    second=$(sed -n 2p bus.txt)
}
stop_bus() {
    kill "$bus" 2>/dev/null || true
    wait "$bus" 2>/dev/null || true
    bus=
}
vet() { # STATUS OPTIONS...: the report is out.json
    want=$1
    shift
    status=0
    timeout 100 "$bin/telltale" vet "slcan:$first@500k,times" --against "slcan:$second@500k" \
        --seed 3 --as json "$@" >out.json 2>said.txt || status=$?
    [ "$status" -eq "$want" ] || fail "status $status where $want is due ($*)"
}
verdict() { # CHECK: its verdict
    tr -d ' \n' <out.json | tr '{' '\n' | grep "\"id\":\"$1\"" |
        sed 's/.*"verdict":"\([a-z]*\)".*/\1/'
}
expect() { # CHECK VERDICT
    [ "$(verdict "$1")" = "$2" ] || fail "$1 is '$(verdict "$1")' where '$2' is due"
}

start_bus none
vet 0 --seconds 2
for check in frames-lengths frames-ids-29 frames-remote isotp-messages isotp-padding load-loss \
    load-order load-twice; do
    expect $check passed
done
# What this line cannot show is not passed.
for check in filters errors-reported bus-off-reported replug; do
    expect $check untested
done
grep -q 'bench line' said.txt || fail "no word of caution"
stop_bus

start_bus drop=100
vet 1 --seconds 4
expect load-loss failed
stop_bus

start_bus noise
vet 2 --seconds 2
expect load-loss untested
grep -q 'Others speak on this line' out.json || fail "nothing is said of the other traffic"
stop_bus
