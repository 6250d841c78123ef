#!/bin/sh
# SPDX-License-Identifier: Apache-2.0
# run.sh BUILD PROGRAM SCRATCH DUMP: makes the page that decodes in the browser, and tries it in
# Chromium. 77: Emscripten is missing.
set -eu
here=$(CDPATH='' cd -- "$(dirname -- "$0")" && pwd)
command -v emcc >/dev/null 2>&1 || {
    echo "SKIPPED: no emcc (Debian: emscripten, about 1 GB, which tests/run.sh does not install)"
    exit 77
}
build=$1
program=$2
scratch=$3
dump=$4
mkdir -p "$scratch"
cmake --build "$build" --target amalgamation
sh "$here/../../../examples/browser/build.sh" "$build/lib/amalgamation" "$scratch"
cp "$here/../page/package.json" "$here/../page/package-lock.json" "$scratch"
[ -d "$scratch/node_modules/playwright-core" ] ||
    (cd "$scratch" && npm ci --no-audit --no-fund --ignore-scripts --loglevel=error)
(cd "${dump%/*}" && "$program" report "${dump##*/}") >"$scratch/report.txt"
node "$here/browser.mjs" "$scratch/telltale.html" "$dump" "$scratch/report.txt" "$scratch"
