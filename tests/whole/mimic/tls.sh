#!/bin/sh
# SPDX-License-Identifier: Apache-2.0
# tls.sh PROGRAM SCRATCH: the simulated vehicle behind DoIP with TLS, with an identity that openssl
# makes, as our own client and openssl's see it.
set -eu
here=$(CDPATH='' cd -- "$(dirname -- "$0")" && pwd)
program=$1
scratch=$2
. "$here/../../support/port.sh"
. "$here/../../support/identity.sh"
rm -rf "$scratch"
mkdir -p "$scratch"
cd "$scratch"
mimic=
trap '[ -z "$mimic" ] || kill "$mimic" 2>/dev/null || true' EXIT
fail() {
    echo "FAILED: $*"
    exit 1
}

identity vehicle IP:127.0.0.1
identity stranger IP:127.0.0.1

free_port
"$program" mimic "doip:127.0.0.1:$port,tls" --identity vehicle.pem --seed 3 >mimic.out 2>mimic.err &
mimic=$!
tries=0
until grep -q '^doip:' mimic.out; do
    tries=$((tries + 1))
    [ "$tries" -lt 300 ] || fail "no vehicle: $(cat mimic.err)"
    sleep 0.1
done
link=$(cat mimic.out)
[ "$link" = "doip:127.0.0.1:$port,tls" ] || fail "it is called $link"

"$program" report "$link,ca=vehicle.crt" >report.txt 2>report.err || fail "report: $(cat report.err)"
grep -q 'check digit right' report.txt || fail "no VIN in the report"
status=0
"$program" report "$link,ca=stranger.crt" >other.txt 2>other.err || status=$?
[ "$status" -eq 2 ] || fail "a stranger's certificate is good enough ($status)"

echo | openssl s_client -connect "127.0.0.1:$port" -CAfile vehicle.crt -verify_ip 127.0.0.1 \
    -verify_return_error >client.txt 2>&1 || fail "openssl s_client: $(tail -5 client.txt)"
grep -q 'Verify return code: 0' client.txt || fail "openssl does not trust it"
grep -Eq 'TLSv1\.[23]' client.txt || fail "another protocol than TLS 1.2 or 1.3"
if echo | openssl s_client -connect "127.0.0.1:$port" -tls1_1 -cipher 'DEFAULT@SECLEVEL=0' \
    >old.txt 2>&1; then
    fail "TLS 1.1 is spoken"
fi
# Still there after all of them.
"$program" report "$link,ca=vehicle.crt" >again.txt 2>again.err || fail "again: $(cat again.err)"

for wrong in "doip:127.0.0.1,tls" "doip:127.0.0.1 --identity vehicle.pem" \
    "doip:127.0.0.1:$((port + 1)),tls --identity stranger.crt" \
    "doip:127.0.0.1:$((port + 1)),tls --identity nothing.pem"; do
    status=0
    # shellcheck disable=SC2086 # words are wanted
    "$program" mimic $wrong --seconds 1 >wrong.txt 2>wrong.err || status=$?
    [ "$status" -eq 2 ] || fail "mimic $wrong: status $status"
    [ -s wrong.err ] || fail "mimic $wrong: no word"
done
echo passed
