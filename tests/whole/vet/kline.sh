#!/bin/sh
# SPDX-License-Identifier: Apache-2.0
# kline.sh BIN WORK: `telltale vet` on K-lines of pseudo terminals, sound and with faults, all at
# once: most of the time of each is pauses.
set -eu
. "$(dirname -- "$0")/begin.sh"

line() { # FAULT STATUS VERDICT CHECK...
    start 2 "$bin/vet-wire" "$1"
    vet "$2" "kline:$first" --against "kline:$second" --seconds 2
    shift 2
    expect "$@"
    stop
}
sound() {
    line none 0 passed kline-requests kline-answers kline-checksum kline-twice kline-echo kline-own
    # What a pseudo terminal does not carry is not passed.
    expect untested kline-five-baud kline-fast kline-slow kline-pauses kline-rests
    grep -q 'bench line' said.txt || fail "no word of caution"
}

. "$here/common.sh"
often sound sound &
tests=$!
for one in "mute 0 untested kline-own" "echo=200 1 failed kline-own" \
    "missing=200 1 failed kline-own" "lose=300 1 failed kline-answers" \
    "swallow=200 1 failed kline-requests" "right 1 failed kline-checksum" \
    "noise 2 untested line-quiet"; do
    # shellcheck disable=SC2086 # words are wanted
    set -- $one
    beside "$1" line "$@"
done
wait_for_all
