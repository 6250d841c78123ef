#!/bin/sh
# SPDX-License-Identifier: Apache-2.0
# picture.sh [PROGRAM]: takes README.md's picture of the page, examples/demo/page.png, anew: the
# demonstration's two drives in real Chromium. PROGRAM is build/debug/bin/telltale unless named.
set -eu
here=$(CDPATH='' cd -- "$(dirname -- "$0")" && pwd)
root=$(CDPATH='' cd -- "$here/../../.." && pwd)
program=${1:-$root/build/debug/bin/telltale}
work=$root/build/picture
mkdir -p "$work"
cp "$here/package.json" "$here/package-lock.json" "$work"
[ -d "$work/node_modules/playwright-core" ] ||
    (cd "$work" && npm ci --no-audit --no-fund --ignore-scripts --loglevel=error)
cd "$root" # the page names the drives as the command does
status=0
"$program" contrast examples/demo/good.pcapng examples/demo/bad.pcapng --as page -o "$work/page.html" ||
    status=$?
[ "$status" -eq 1 ] || {
    echo "no suspect to take a picture of: status $status" >&2
    exit 1
}
node "$here/picture.mjs" "$work/page.html" "$work/page.png" "$work"
cp "$work/page.png" examples/demo/page.png
size=$(wc -c <examples/demo/page.png)
echo "examples/demo/page.png: $size bytes"
[ "$size" -lt 200000 ]
