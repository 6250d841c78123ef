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
    mkdir "$1"
    cd "$1"
    . "$here/common.sh"
    start 1 "$bin/telltale" mimic "$2" --seed 5
    # A computer that stalls loses an answer now and then: that is a finding, and not the line's.
    vet any "$first" --vehicle --seconds "$3"
    expect passed vehicle-vin vehicle-support vehicle-twice
    [ "$(verdict vehicle-answers)" != untested ] || fail "few requests"
    expect untested vehicle-isotp vehicle-time
    grep -q 'only the VIN and support bitmaps are read' said.txt || fail "no word of what is read"
    stop
}
tests=
for one in "kline kline:pty 30" "doip doip:127.0.0.1:$((20000 + $$ % 12000)) 4"; do
    (vehicle $one) &
    tests="$tests $!"
done
for test in $tests; do
    wait "$test"
done
