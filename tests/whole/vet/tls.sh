#!/bin/sh
# SPDX-License-Identifier: Apache-2.0
# tls.sh BIN WORK: `telltale vet` on a DoIP gateway that speaks TLS, with identities that openssl makes;
# sound, and with what is to be found, all at once.
set -eu
. "$(dirname -- "$0")/begin.sh"
work=$PWD

gateway() { # FAULT IDENTITY AUTHORITY STATUS
    start 2 "$bin/vet-gateway" "$1" 40 "$work/$2.pem"
    vet "$4" "${first%%,*},tls,ca=$work/$3.crt,${first#*,}" --against "$second" --seconds 4
    stop
}
sound() {
    gateway sound here here 0
    expect passed doip-tls doip-tls-certificate doip-tls-host doip-tls-plain doip-tls-old doip-status \
        doip-activation doip-before-activation doip-requests doip-answers doip-addresses \
        doip-acknowledge doip-load doip-order doip-twice doip-functional doip-functional-answers \
        doip-alive doip-alive-silent doip-header-pattern doip-stream
    grep -q 'DoIP over TLSv1' out.json || fail "the report does not say that the line was TLS"
}
unverified() { # who it is cannot be told then, and all else can
    start 2 "$bin/vet-gateway" drops-requests 40 "$work/elsewhere.pem"
    vet 1 "${first%%,*},tls,unverified,${first#*,}" --against "$second" --seconds 4
    stop
    expect passed doip-tls doip-tls-plain doip-activation
    expect untested doip-tls-certificate doip-tls-host
    expect failed doip-load
    grep -q 'certificate not looked at' out.json || fail "the report does not say what was left out"
}
found() { # CHECK, then as `gateway`
    check=$1
    shift
    gateway "$@" 1
    expect failed "$check"
    for other in doip-tls doip-tls-certificate doip-tls-host doip-tls-plain doip-tls-old; do
        [ "$other" = "$check" ] || [ "$(verdict $other)" != failed ] || [ "$1-$other" = \
            tls-not-spoken-doip-tls-plain ] || fail "$other fails as well"
    done
}
. "$here/common.sh"
. "$here/../../support/identity.sh"
identity here IP:127.0.0.1
identity stranger IP:127.0.0.1
identity elsewhere IP:192.0.2.7
often sound sound
for one in "unverified" "found doip-tls tls-not-spoken here here" \
    "found doip-tls-certificate sound stranger here" "found doip-tls-host sound elsewhere elsewhere" \
    "found doip-tls-plain tls-also-plain here here" \
    "found doip-tls tls-hangs here here" "found doip-tls-old tls-old here here"; do
    # shellcheck disable=SC2086 # words are wanted
    beside "$(echo "$one" | tr ' ' '-')" $one
done
wait_for_all
# Certificates that cannot be read, and nobody there: nothing is found out.
vet 2 doip:127.0.0.1:1,tls,ca=nothing.pem,target=1001 --against slcan:/dev/null
