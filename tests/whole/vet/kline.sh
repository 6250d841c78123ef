#!/bin/sh
# SPDX-License-Identifier: Apache-2.0
# kline.sh BIN WORK: `telltale vet` on K-lines of pseudo terminals, sound and with faults, all at
# once: most of the time of each is pauses.
set -eu
here=$(CDPATH='' cd -- "$(dirname -- "$0")" && pwd)
bin=$(CDPATH='' cd -- "$1" && pwd)
rm -rf "$2"
mkdir -p "$2"
cd "$2"

line() { # NAME FAULT STATUS VERDICT CHECK...
    mkdir "$1"
    cd "$1"
    . "$here/common.sh"
    start 2 "$bin/vet-wire" "$2"
    vet "$3" "kline:$first" --against "kline:$second" --seconds 2
    shift 3
    expect "$@"
}
sound() { # the computer may stall for so long that the wire of another program is too late for its
    # echo: a fault of the adapter would show every time
    for try in 1 2 3; do
        (line "sound-$try" none 0 passed kline-requests kline-answers kline-checksum kline-twice \
            kline-echo kline-own) >"sound-$try.txt" && break
        [ $try -lt 3 ] || { cat sound-3.txt; exit 1; }
    done
    cd "sound-$try"
    . "$here/common.sh"
    # What a pseudo terminal does not carry is not passed.
    expect untested kline-five-baud kline-fast kline-slow kline-pauses kline-rests
    grep -q 'bench line' said.txt || fail "no word of caution"
}

(sound) &
tests=$!
for one in "mute 0 untested kline-own" "echo=200 1 failed kline-own" \
    "missing=200 1 failed kline-own" "lose=300 1 failed kline-answers" \
    "swallow=200 1 failed kline-requests" "right 1 failed kline-checksum" \
    "noise 2 untested line-quiet"; do
    (
        set -- $one
        line "$1" "$@"
    ) &
    tests="$tests $!"
done
for test in $tests; do
    wait "$test"
done
