#!/bin/sh
# SPDX-License-Identifier: Apache-2.0
# run.sh TELLTALE SOURCE SCRATCH: the invented fleet of examples/fleet in SQLite and, where a server
# is there, in PostgreSQL: the same questions have the same answers.
set -eu
export TELLTALE="$1"
fleet=$2/examples/fleet
scratch=$3
rm -rf "$scratch"
mkdir -p "$scratch"
cd "$scratch"
fail() { echo "FAIL: $*" >&2; exit 1; }

sh "$fleet/make.sh" dumps
sh "$fleet/load.sh" dumps shop.sqlite
sh "$fleet/load.sh" dumps shop.sqlite # again: nothing twice
ask() { sqlite3 -batch -separator '|' shop.sqlite <"$fleet/$1.sql"; }
[ "$(sqlite3 shop.sqlite 'select count(*), count(distinct vin) from visit')" = "40|10" ] ||
    fail "40 visits of 10 vans"
vin() { sqlite3 shop.sqlite "select vin from latest where file like '%van-$1/%'"; }
ask pending >pending
ask inspection >inspection
ask trims >trims
cat pending inspection trims

# What make.sh put into it comes out again, and nothing else.
grep -q "^$(vin 07)|2025-09-09|7E8|P0113|" pending || fail "the pending code of van 07"
[ "$(cut -d'|' -f1 inspection | sort -u)" = "$(vin 05)" ] || fail "van 05 alone is not ready"
[ "$(cut -d'|' -f1 trims)" = "$(vin 03)" ] || fail "the trims of van 03 alone drift"
# Against another way round: the codes as `report` prints them for people.
"$TELLTALE" report dumps/van-07/2025-09-09.pcapng >report
sed -n '/Pending codes/,/Permanent/p' report | grep -q P0113 || fail "the report has that code"

server=
for folder in /usr/lib/postgresql/*/bin; do
    [ ! -x "$folder/initdb" ] || server=$folder
done
if [ -z "$server" ] || ! command -v psql >/dev/null; then
    echo "No PostgreSQL server here: SQLite only."
    exit 0
fi
# A cluster of our own, for one user, on a socket in a folder of ours. It does not run as root.
base=$(mktemp -d /tmp/telltale-fleet.XXXXXX)
as=
if [ "$(id -u)" = 0 ]; then
    as='setpriv --reuid=nobody --regid=nogroup --clear-groups'
    chown nobody:nogroup "$base"
fi
chmod 711 "$base"
stop() {
    $as "$server/pg_ctl" -D "$base/data" -m immediate stop >/dev/null 2>&1 || true
    rm -rf "$base"
}
trap stop EXIT
trap 'exit 130' INT TERM
cd "$base"
$as "$server/initdb" -D "$base/data" -U shop -A trust -E UTF8 --no-locale --no-sync >"$scratch/initdb.log" 2>&1 ||
    { cat "$scratch/initdb.log" >&2; fail "initdb"; }
$as "$server/pg_ctl" -D "$base/data" -w -t 60 -l "$base/log" \
    -o "-k $base -c listen_addresses='' -c fsync=off" start >"$scratch/start.log" 2>&1 ||
    { cat "$scratch/start.log" "$base/log" >&2; fail "pg_ctl start"; }
database="postgresql://shop@/postgres?host=$base"
cd "$scratch"
sh "$fleet/load.sh" dumps "$database"
sh "$fleet/load.sh" dumps "$database"
for question in pending inspection trims; do
    psql -q -A -t -F '|' -d "$database" -f "$fleet/$question.sql" >"$question.postgres"
    cmp "$question" "$question.postgres" || { diff "$question" "$question.postgres" >&2 || true; fail "$question: PostgreSQL answers otherwise"; }
done
echo "SQLite and PostgreSQL answer alike."
