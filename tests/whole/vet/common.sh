# SPDX-License-Identifier: Apache-2.0
# What the tests of the vet command share. BIN and the folder to work in are set; the report is
# out.json.
other=
tests=
trap '[ -z "$other" ] || kill "$other" 2>/dev/null || true' EXIT
fail() {
    echo "FAILED: $*"
    for file in said.txt out.json; do [ ! -s $file ] || { echo "--- $file"; cat $file; }; done
    exit 1
}
[ -p hold ] || mkfifo hold
exec 3<>hold # nothing ever comes from it, nor does it end
start() { # LINES PROGRAM ARGUMENT...: runs until `stop`; its first lines are in started.txt
    lines=$1
    shift
    : >started.txt
    "$@" <&3 >started.txt &
    other=$!
    tries=0
    until [ "$(wc -l <started.txt)" -ge "$lines" ]; do
        tries=$((tries + 1))
        [ "$tries" -lt 300 ] || fail "it does not start: $*"
        sleep 0.1
    done
    first=$(sed -n 1p started.txt)
    second=$(sed -n 2p started.txt)
}
stop() {
    kill "$other" 2>/dev/null || true
    wait "$other" 2>/dev/null || true
    other=
}
vet() { # STATUS (or any) ARGUMENT...
    want=$1
    shift
    status=0
    timeout 200 "$bin/telltale" vet "$@" --seed 3 --as json >out.json 2>said.txt || status=$?
    [ "$want" = any ] || [ "$status" -eq "$want" ] || fail "status $status where $want is due ($*)"
}
often() { # NAME COMMAND...: in a folder of its own, up to three times: a computer that is busy with other
    # things stalls for so long now and then that a sound line looks bad; a fault would show every time
    name=$1
    shift
    for try in 1 2 3; do
        mkdir "$name-$try"
        (cd "$name-$try" && . "$here/common.sh" && "$@") >"$name-$try.txt" && return
    done
    cat "$name-3.txt"
    return 1
}
beside() { # NAME COMMAND...: in a folder of its own, while others go on
    name=$1
    shift
    mkdir "$name"
    (
        cd "$name"
        . "$here/common.sh"
        "$@"
    ) &
    tests="$tests $!"
}
wait_for_all() {
    for test in $tests; do
        wait "$test"
    done
}
verdict() { # CHECK: its verdict
    tr -d ' \n' <out.json | tr '{' '\n' | grep "\"id\":\"$1\"" |
        sed 's/.*"verdict":"\([a-z]*\)".*/\1/'
}
expect() { # VERDICT CHECK...
    due=$1
    shift
    for check in "$@"; do
        [ "$(verdict "$check")" = "$due" ] ||
            fail "$check is '$(verdict "$check")' where '$due' is due"
    done
}
