#!/bin/sh
# SPDX-License-Identifier: Apache-2.0
# symbols.sh LIBRARY HEADER: libtelltale-c.so shows what symbols.txt lists and nothing else, all of it
# is declared in the header, and its SONAME ends in the header's TELLTALE_ABI. A function that is
# missing from the list broke the promise of the header; a new one is added to it.
set -eu
library=$1
header=$2
here=$(CDPATH='' cd -- "$(dirname -- "$0")" && pwd)
LC_ALL=C
export LC_ALL
scratch=$(mktemp -d)
trap 'rm -rf "$scratch"' EXIT

fail() {
    echo "FAILED: $*"
    exit 1
}

abi=$(sed -n 's/^#define TELLTALE_ABI \([0-9]*\)$/\1/p' "$header")
nm -D --defined-only "$library" | awk -v node="TELLTALE_C_$abi" '$2 == "A" && $3 == node { next }
    { sub("@@" node "$", "", $3); print $2, $3 }' | sort >"$scratch/shown"
sed 's/^/T /' "$here/symbols.txt" >"$scratch/wanted"
diff "$scratch/wanted" "$scratch/shown" || fail "the symbols are not those of symbols.txt"
readelf -d "$library" | grep -q "SONAME.*\[libtelltale-c\.so\.$abi\]" || fail "SONAME"
for needed in $(readelf -d "$library" | sed -n 's/.*(NEEDED).*\[\(.*\)\]/\1/p'); do
    case $needed in
    libstdc++.so.* | libm.so.* | libgcc_s.so.* | libc.so.* | ld-linux*.so.* | libtelltale-decode.so.*) ;;
    *) fail "it needs $needed" ;;
    esac
done
sed -n 's/^ \*.*//; s/.*[ *]\(telltale_[a-z0-9_]*\)(.*/\1/p' "$header" | sort -u >"$scratch/declared"
diff "$here/symbols.txt" "$scratch/declared" || fail "the header declares something else"
