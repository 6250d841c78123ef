#!/bin/sh
# SPDX-License-Identifier: Apache-2.0
# The demonstration: installs what building needs, builds, and shows an invented van's two drives,
# one of them with a fault that comes and goes.
set -eu
root=$(CDPATH='' cd -- "$(dirname -- "$0")/.." && pwd)
cd "$root"
# shellcheck source=../tests/support/packages.sh
. tests/support/packages.sh
need cmake ninja-build g++ libexpected-dev libcli11-dev nlohmann-json3-dev libboost-dev \
    libspdlog-dev libssl-dev libncurses-dev npm:npm

launcher=
! command -v ccache >/dev/null 2>&1 || launcher=ccache
cmake --preset release -B build/demo -DTELLTALE_TESTS=OFF -DTELLTALE_BENCH=OFF \
    -DTELLTALE_JOINED=ON -DCMAKE_UNITY_BUILD=ON -DCMAKE_UNITY_BUILD_BATCH_SIZE=12 \
    -DCMAKE_CXX_FLAGS=-Wno-subobject-linkage \
    -DCMAKE_CXX_COMPILER_LAUNCHER="$launcher" >&2
cmake --build build/demo --target telltale >&2
PATH=$root/build/demo/bin:$PATH
good=examples/demo/good.pcapng
bad=examples/demo/bad.pcapng

show() { # COMMAND LINE: says it, then runs it; 1 is what commands answer who found something
    printf '\n$ %s\n\n' "$1"
    sh -c "$1" || [ $? -eq 1 ]
}

cat <<END

A courier brings in a van: now and then, on the cobbles by the harbour, it holds back for a moment.
Two drives over the same road were recorded, one in which nothing shows and one in which it does.
The van, its number and its drives are invented.
END
show "telltale report $good"
show "telltale report $bad"
printf '\nAbout the moment that the technician marked:\n'
show "telltale table $bad --only MAP,MAF,SHRTFT1 --every 0.5 | sed -n '1p;/^8[4-8]/p'"
printf '\nBoth drives side by side: which signal left its course first?\n'
show "telltale contrast $good $bad"
page=build/demo/contrast.html
telltale contrast $good $bad --as page -o $page || [ $? -eq 1 ]
printf '\nThe same to look at, step through and print: open %s in a browser.\n' "$root/$page"
