#!/bin/sh
# SPDX-License-Identifier: Apache-2.0
# run.sh PAGE-SAMPLE WORK-FOLDER: makes the sample pages and tries them in Chromium.
set -eu
here=$(CDPATH='' cd -- "$(dirname -- "$0")" && pwd)
mkdir -p "$2"
cp "$here/package.json" "$here/package-lock.json" "$2"
[ -d "$2/node_modules/playwright-core" ] || (cd "$2" && npm ci --no-audit --no-fund --ignore-scripts --loglevel=error)
"$1" small >"$2/small.html"
"$1" large >"$2/large.html"
exec node "$here/page.mjs" "$2" "$2"
