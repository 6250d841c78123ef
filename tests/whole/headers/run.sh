#!/bin/sh
# SPDX-License-Identifier: Apache-2.0
# run.sh SOURCE BUILT-INCLUDE CXX: the decode target includes the standard library, tl::expected and
# itself, and nothing else; each public header of it compiles alone, without exceptions and run-time
# types. (What a source of the library includes first is compiled alone with every build; here the
# others are.)
set -eu
source=$1
built=$2
cxx=$3
cd "$source/lib"
scratch=$(mktemp -d)
trap 'rm -rf "$scratch"' EXIT
folders='base frame isotp catalogue message dump vehicle run'

fail() {
    echo "FAILED: $*"
    exit 1
}

for folder in $folders; do
    find "include/telltale/$folder" "src/$folder" -name '*.hpp' -o -name '*.cpp'
done | sort >"$scratch/files"
[ "$(wc -l <"$scratch/files")" -gt 60 ] || fail "the folders are not where they were"
# Standard headers of C++ have neither a folder nor an ending. The operating system is dump's.
xargs grep -nE '^ *# *include' <"$scratch/files" |
    grep -vE '# *include (<[a-z_]+>|<tl/expected\.hpp>|"telltale/[a-z_0-9/]+\.hpp"|"[a-z_0-9/]+\.hpp")' |
    grep -vE '^src/dump/[a-z_]+\.cpp:[0-9]+:#include <(fcntl|unistd|sys/[a-z]+)\.h>' >"$scratch/alien" || true
test ! -s "$scratch/alien" || { cat "$scratch/alien"; fail "includes of another library"; }
grep -hE '# *include "telltale/' $(grep '^include' "$scratch/files") |
    grep -vE '"telltale/(base|frame|isotp|catalogue|message|dump|vehicle|run)/' >"$scratch/rooms" || true
test ! -s "$scratch/rooms" || { cat "$scratch/rooms"; fail "a public header of decode needs another target"; }

grep '\.cpp$' "$scratch/files" | while read -r file; do
    sed -n 's/^#include "\(telltale\/.*\)".*/\1/p;/^#include/q' "$file" | head -n 1
done | sort -u >"$scratch/first"
grep '^include' "$scratch/files" | sed 's/^include\///' | sort >"$scratch/public"
comm -13 "$scratch/first" "$scratch/public" | while read -r header; do
    echo "#include \"$header\"" >"$scratch/alone.cpp"
    "$cxx" -std=c++20 -fno-exceptions -fno-rtti -Wall -Wextra -Wpedantic -Werror -fsyntax-only \
        -Iinclude -I"$built" "$scratch/alone.cpp" || fail "$header does not compile alone"
    echo "$header compiles alone"
done
