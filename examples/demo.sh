#!/bin/sh
# SPDX-License-Identifier: Apache-2.0
# The demonstration: installs what building needs, builds, and shows an invented van's two drives,
# one of them with a fault that comes and goes.
set -eu
root=$(CDPATH='' cd -- "$(dirname -- "$0")/.." && pwd)
cd "$root"
# shellcheck source=../tests/support/packages.sh
. tests/support/packages.sh
need cmake ninja-build g++ libexpected-dev libcli11-dev nlohmann-json3-dev npm:npm

launcher=
! command -v ccache >/dev/null 2>&1 || launcher=ccache
cmake --preset release -B build/demo -DTELLTALE_TESTS=OFF -DTELLTALE_BENCH=OFF \
    -DCMAKE_CXX_COMPILER_LAUNCHER="$launcher" >&2
cmake --build build/demo --target telltale >&2
telltale=build/demo/bin/telltale
good=examples/demo/good.pcapng
bad=examples/demo/bad.pcapng

show() { # COMMAND...: says the command, then runs it
    echo
    echo "\$ telltale $*"
    echo
    "$telltale" "$@"
}

cat <<END

A courier brings in a van: now and then, on the cobbles by the harbour, it holds back for a moment.
Two drives over the same road were recorded, one in which nothing shows and one in which it does.
The van, its number and its drives are invented.
END
show report "$good"
show report "$bad"

echo
echo "A few messages about the moment that the technician marked:"
show decode "$bad" --only 0B,10,0C 2>/dev/null | sed -n '1,4p;/ 1758209052/,$p' | sed -n '1,14p'
