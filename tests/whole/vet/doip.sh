#!/bin/sh
# SPDX-License-Identifier: Apache-2.0
# doip.sh BIN WORK: `telltale vet` on a DoIP gateway on the loopback, with the ECU played on the CAN
# behind it; sound and with faults, two at once.
set -eu
here=$(CDPATH='' cd -- "$(dirname -- "$0")" && pwd)
bin=$(CDPATH='' cd -- "$1" && pwd)
rm -rf "$2"
mkdir -p "$2"
cd "$2"

gateway() { # FAULT STATUS VERDICT CHECK...
    start 2 "$bin/vet-gateway" "$1" 40
    vet "$2" "$first" --against "$second" --seconds 4
    shift 2
    expect "$@"
    stop
}
sound() {
    gateway sound 0 passed doip-status doip-activation doip-before-activation doip-requests \
        doip-answers doip-addresses doip-acknowledge doip-load doip-order doip-twice \
        doip-wrong-target doip-wrong-source doip-alive doip-alive-silent doip-header-pattern \
        doip-header-type doip-header-large doip-header-length doip-stream
    grep -q 'up to 4,099 bytes' out.json || fail "its longest request is not told"
    grep -q 'bench' said.txt || fail "no word of caution"
}
. "$here/common.sh"
often sound sound
tests=
for one in "drops-requests doip-load" "doubles-answers doip-twice" "swaps-requests doip-order" \
    "stops-at-1024 doip-requests" "wrong-acknowledge-bytes doip-acknowledge" \
    "no-alive-check doip-alive" "any-source doip-wrong-source"; do
    (
        set -- $one
        mkdir "$1"
        cd "$1"
        . "$here/common.sh"
        gateway "$1" 1 failed "$2"
    ) &
    tests="$tests $!"
done
for test in $tests; do
    wait "$test"
done
