#!/bin/sh
# SPDX-License-Identifier: Apache-2.0
# doip.sh BIN WORK: `telltale vet` on a DoIP gateway on the loopback, with three ECUs played on the
# CAN behind it; sound and with faults, many at once.
set -eu
. "$(dirname -- "$0")/begin.sh"

gateway() { # FAULT STATUS VERDICT CHECK...
    start 2 "$bin/vet-gateway" "$1" 40
    vet "$2" --ecu 7E8 --ecu 7E9=1002 --ecu 7EA=1003 "$first" --against "$second" --seconds 4
    shift 2
    expect "$@"
    stop
}
sound() {
    gateway sound 0 passed doip-status doip-activation doip-before-activation doip-requests \
        doip-answers doip-addresses doip-acknowledge doip-load doip-order doip-twice \
        doip-wrong-target doip-wrong-source doip-alive doip-alive-silent doip-header-pattern \
        doip-header-type doip-header-large doip-header-length doip-stream doip-functional \
        doip-functional-acknowledge doip-functional-answers doip-functional-twice \
        doip-functional-sources doip-functional-unknown doip-functional-long
    grep -q 'up to 4,099 bytes' out.json || fail "its longest request is not told"
    grep -q '3 ECUs on CAN' out.json || fail "the report does not say how many ECUs were played"
    grep -q 'bench' said.txt || fail "no word of caution"
}
unasked() { # nobody said that this one knows functional requests
    start 2 "$bin/vet-gateway" group-unknown 40
    vet 0 "$first" --against "$second" --seconds 4
    expect untested doip-functional doip-functional-answers
    stop
}
. "$here/common.sh"
often sound sound
for one in "drops-requests doip-load" "doubles-answers doip-twice" "swaps-requests doip-order" \
    "stops-at-1024 doip-requests" "wrong-acknowledge-bytes doip-acknowledge" \
    "no-alive-check doip-alive" "any-source doip-wrong-source" "group-to-one doip-functional" \
    "group-answer-lost doip-functional-answers" "group-answer-twice doip-functional-twice" \
    "group-wrong-source doip-functional-sources"; do
    # shellcheck disable=SC2086 # words are wanted
    set -- $one
    beside "$1" gateway "$1" 1 failed "$2"
done
wait_for_all

often unasked unasked
for wrong in "--ecu 7E9=1002 --ecu 7E9=1003" "--ecu 7E9=1001" "--ecu 7E8 --ecu 7E9" "--ecu 7E9=0" \
    "--ecu 18DAF111=1002" "--functional 1001" "--functional E0000"; do
    # shellcheck disable=SC2086 # words are wanted
    vet 2 doip:127.0.0.1,target=1001 --against slcan:/dev/null $wrong
    grep -q -e '--ecu' -e '--functional' said.txt || fail "no word of what is wrong with $wrong"
done
