#!/bin/sh
# SPDX-License-Identifier: Apache-2.0
# load.sh FOLDER DATABASE: all dumps below FOLDER into a database: a file (SQLite), or the address of
# a PostgreSQL database (postgresql://...). May be run again: what is in it already is passed over.
# TELLTALE names the program where it is not in PATH.
set -eu
[ $# -eq 2 ] || { echo "usage: load.sh FOLDER DATABASE" >&2; exit 2; }
here=$(CDPATH='' cd -- "$(dirname -- "$0")" && pwd)
lines=$(mktemp)
trap 'rm -f "$lines"' EXIT
# A dump that cannot be read is named, the others go on; the status says so at the end.
status=0
"${TELLTALE:-telltale}" report "$1" --as json >"$lines" || status=$?
# JSON holds no control characters: they can be what separates columns and quotes.
case $2 in
postgresql://* | postgres://*)
    PGOPTIONS="--client-min-messages=warning" psql -q -v ON_ERROR_STOP=1 -d "$2" -f "$here/tables.sql" -c 'create temp table report (line jsonb)' \
        -c "\\copy report from '$lines' with (format csv, delimiter e'\\x02', quote e'\\x01')" \
        -f "$here/load-postgres.sql"
    ;;
*)
    sqlite3 -bail "$2" ".read '$here/tables.sql'" 'create temp table report (line text)' \
        '.mode ascii' '.separator "\037" "\n"' ".import '$lines' report" \
        ".read '$here/load-sqlite.sql'"
    ;;
esac
exit "$status"
