#!/bin/sh
# SPDX-License-Identifier: Apache-2.0
# vehicle.sh BIN WORK: `telltale vet LINK --vehicle` with the simulated vehicle on a K-line and behind DoIP.
set -eu
here=$(CDPATH='' cd -- "$(dirname -- "$0")" && pwd)
bin=$(CDPATH='' cd -- "$1" && pwd)
rm -rf "$2"
mkdir -p "$2"
cd "$2"

vehicle() { # NAME LINK SECONDS
    rm -rf "$1"
    mkdir "$1"
    cd "$1"
    . "$here/common.sh"
    start 1 "$bin/telltale" mimic "$2" --seed 5
    vet 0 "$first" --vehicle --seconds "$3"
    expect passed vehicle-vin vehicle-support vehicle-answers vehicle-twice
    grep -q 'only the VIN and support bitmaps are read' said.txt || fail "no word of what is read"
    stop
}
tests=
for one in "kline kline:pty 20" "doip doip:127.0.0.1:$((20000 + $$ % 12000)) 4"; do
    ( # a computer that stalls may lose an answer
        for try in 1 2 3; do
            (vehicle $one) && exit 0
        done
        exit 1
    ) &
    tests="$tests $!"
done
for test in $tests; do
    wait "$test"
done
