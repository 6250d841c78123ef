#!/bin/sh
# SPDX-License-Identifier: Apache-2.0
# run.sh SOURCE BUILT SCRATCH
set -eu
source=$1
built=$2
scratch=$3
here=$source/tests/whole/packages
. "$here/root.sh"

fail() {
    echo "FAILED: $*"
    exit 1
}
skip() {
    echo "SKIPPED: $*"
    exit 77
}

for tool in cpack dpkg dpkg-deb dpkg-query dpkg-shlibdeps tar awk; do
    command -v "$tool" >/dev/null || skip "there is no $tool"
done
as_root=
[ "$(id -u)" -eq 0 ] || as_root='unshare --map-root-user'
$as_root chroot / true 2>/dev/null || skip "nobody here may change the root"

mkdir -p "$scratch"
cd "$scratch"
installed=$scratch/installed
dpkg-query -W -f='${db:Status-Status}\t${Package}\t${Provides}\t${Depends}\t${Pre-Depends}\n' |
    sed -n 's/^installed\t//p' >"$installed"

# ---- made -----------------------------------------------------------------------------------
rm -rf made
cpack -G DEB --config "$built/CPackConfig.cmake" -B "$scratch/made" \
    -D CPACK_DEBIAN_COMPRESSION_TYPE=gzip >cpack.log 2>&1 || { cat cpack.log; fail "cpack"; }
version=$(sed -n 's/^project(telltale VERSION \([0-9.]*\).*/\1/p' "$source/CMakeLists.txt")
deb() { # PACKAGE: its file
    set -- "made/$1_${version}_"*.deb
    [ $# -eq 1 ] && [ -e "$1" ] || fail "not one package file but $*"
    echo "$1"
}
runtime=$(deb libtelltale-c0)
development=$(deb libtelltale-dev)
program=$(deb telltale)
needs() { # FILE
    dpkg-deb -f "$1" Depends
}
echo "libtelltale-c0 needs $(needs "$runtime")"
echo "libtelltale-dev needs $(needs "$development")"
echo "telltale needs $(needs "$program")"

# The C interface needs the C++ runtime alone; who wants the program gets what it loads.
needs "$runtime" | tr ',' '\n' | sed 's/^ *//; s/ .*//' | sort >runtime.needs
for one in $(cat runtime.needs); do
    case $one in
    libc6 | libgcc-s1 | libstdc++6) ;;
    *) fail "libtelltale-c0 needs $one" ;;
    esac
done
needs "$development" | grep -qF "libtelltale-c0 (= $version)" || fail "development without runtime"
for file in "$runtime" "$development" "$program"; do
    dpkg-deb -c "$file" | awk '{ print $1, $2, $6 }' >content
    ! grep -v 'root/root ./\(usr/.*\)\?$' content || fail "$file: owner or place"
    ! grep -E '^-[rwx-]{7}w|^d[rwx-]{7}w' content || fail "$file: anybody may write"
    dpkg-deb -f "$file" Description | grep -q . || fail "$file: no description"
done
dpkg-deb -e "$runtime" control.runtime
grep -q '^libtelltale-c 0 libtelltale-c0' control.runtime/shlibs || fail "no shlibs"
grep -qx 'activate-noawait ldconfig' control.runtime/triggers || fail "no trigger"
! dpkg-deb -c "$runtime" | grep -E '\.(a|h|hpp|pc)$' || fail "runtime with development files"

# ---- the program in a root of what it needs ------------------------------------------------------
at() { # ROOT COMMAND...: with nothing of this machine's environment
    at_root=$1
    shift
    in_root "$at_root" /usr/bin/env -i PATH=/usr/bin LC_ALL=C.UTF-8 "$@"
}
# Beside what the packages ask for: what every Debian has and their scripts use, and env for `at`.
essential="dash libc-bin coreutils"
list=$(closure "$(needs "$program")" "$(needs "$runtime")" $essential) || fail "needs of the program"
make_root "$scratch/run" $list || fail "the root could not be made"
root=$scratch/run
$as_root dpkg --root="$root" --force-not-root --log=dpkg.log -i "$runtime" "$program" >dpkg.out 2>&1 ||
    { cat dpkg.out; fail "dpkg refuses"; }
cp "$source/examples/demo/bad.pcapng" "$root/tmp/bad.pcapng"
at "$root" telltale --version | grep -qx "telltale $version" || fail "the program does not run"
at "$root" telltale report /tmp/bad.pcapng | grep -q 'P0109' || fail "the program does not report"
at "$root" telltale mimic --into - --seconds 5 >"$scratch/five.pcapng" || fail "mimic"
[ -s "$scratch/five.pcapng" ] || fail "mimic writes nothing"
[ -e "$root/usr/share/man/man1/telltale.1.gz" ] || fail "no manual page"
[ -e "$root/usr/share/bash-completion/completions/telltale" ] || fail "no completion"
copyright=$root/usr/share/doc/telltale/copyright
grep -qF /usr/share/common-licenses/Apache-2.0 "$copyright" || fail "no licence"
[ ! -e "$built/examples/telltale/page/node_modules/uplot" ] || grep -qx 'License: MIT' "$copyright" ||
    fail "the plotting library's licence is not told"
# And off again, with nothing left.
$as_root dpkg --root="$root" --force-not-root --log=dpkg.log -P telltale libtelltale-c0 >dpkg.out 2>&1 ||
    { cat dpkg.out; fail "dpkg does not purge"; }
find "$root/usr" -iname '*telltale*' >left
[ ! -s left ] || { cat left; fail "left behind"; }

# ---- a program of one's own in a root of what development needs ------------------------------------
list=$(closure "$(needs "$development" | sed 's/libtelltale-c0[^,]*, *//')" "$(needs "$runtime")" \
    'g++' pkgconf $essential) || fail "needs of development"
make_root "$scratch/develop" $list || fail "the root could not be made"
root=$scratch/develop
$as_root dpkg --root="$root" --force-not-root --log=dpkg.log -i "$runtime" "$development" >dpkg.out 2>&1 ||
    { cat dpkg.out; fail "dpkg refuses"; }
cp "$source/examples/demo/bad.pcapng" "$root/tmp/bad.pcapng"
examples=/usr/share/doc/libtelltale-dev/examples
# shellcheck disable=SC2046 # words are wanted
at "$root" gcc -std=c11 -Wall -Werror $examples/values.c -o /tmp/values \
    $(at "$root" pkg-config --cflags --libs telltale-c) || fail "a C program"
at "$root" /tmp/values /tmp/bad.pcapng | grep -q '^7E8 Engine speed: [0-9.]* rpm$' || fail "values"
# shellcheck disable=SC2046
at "$root" g++ -std=c++20 $examples/decode_bytes.cpp -o /tmp/decode_bytes \
    $(at "$root" pkg-config --cflags --libs telltale-decode) || fail "a C++ program"
at "$root" /tmp/decode_bytes | grep -qx 'Engine speed: 1726.0 rpm' || fail "decode_bytes"
readelf -d "$root/tmp/values" | grep -q 'NEEDED.*libtelltale-c\.so\.0' || fail "SONAME"
# CMake finds it in that root, too, and by its own place.
cmake -S "$source/tests/whole/c/outside" -B by-cmake -G Ninja -DCMAKE_PREFIX_PATH="$root/usr" \
    -DSOURCE="$source/examples/embed/values.c" >cmake.log 2>&1 || { cat cmake.log; fail "find_package"; }
cmake --build by-cmake >cmake.log || { cat cmake.log; fail "build with CMake"; }
by-cmake/outside-c "$source/examples/demo/bad.pcapng" | grep -q '^7E8 Engine speed' || fail "by CMake"
$as_root dpkg --root="$root" --force-not-root --log=dpkg.log -P libtelltale-dev libtelltale-c0 >dpkg.out 2>&1 ||
    { cat dpkg.out; fail "dpkg does not purge"; }
