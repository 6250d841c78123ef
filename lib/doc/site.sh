#!/bin/sh
# SPDX-License-Identifier: Apache-2.0
# site.sh [OUT]: the documentation as a site, OUT/html/index.html (OUT: build/site). A warning is an error.
set -eu
root=$(CDPATH='' cd -- "$(dirname -- "$0")/../.." && pwd)
TELLTALE_SITE=${1:-$root/build/site}
export TELLTALE_SITE
mkdir -p "$TELLTALE_SITE"
cd "$root"
exec doxygen lib/doc/Doxyfile
