#!/bin/sh
# SPDX-License-Identifier: Apache-2.0
# vehicle.sh BIN WORK: `telltale vet LINK --vehicle` with the simulated vehicle on a K-line and behind
# DoIP.
set -eu
. "$(dirname -- "$0")/begin.sh"
. "$here/../../support/port.sh"
free_port

vehicle() { # LINK SECONDS
    start 1 "$bin/telltale" mimic "$1" --seed 5
    # A computer that stalls loses an answer now and then, or is late with it: that is a finding, and
    # not the line's.
    vet any "$first" --vehicle --seconds "$2"
    expect passed vehicle-vin vehicle-support
    for check in vehicle-answers vehicle-twice; do
        [ "$(verdict $check)" != untested ] || fail "few requests"
    done
    expect untested vehicle-isotp vehicle-time
    grep -q 'only the VIN and support bitmaps are read' said.txt || fail "no word of what is read"
    stop
}
. "$here/common.sh"
tests=
for one in "kline vehicle kline:pty 30" "doip vehicle doip:127.0.0.1:$port 4"; do
    often $one &
    tests="$tests $!"
done
for test in $tests; do
    wait "$test"
done
