#!/bin/sh
# SPDX-License-Identifier: Apache-2.0
# shared.sh SCRATCH: the Debian packages of a build with shared libraries (without what talks to a
# vehicle): each file in the package where it belongs, lintian content with all but the packager's address,
# and programs in C and C++ built and run in a root of what the packages say they need. By hand, as root
# or where a user may change the root; some minutes, for it builds the library.
set -eu
source=$(CDPATH='' cd -- "$(dirname -- "$0")/../../.." && pwd)
. "$source/tests/whole/packages/root.sh"
mkdir -p "$1"
cd "$1"
scratch=$(pwd)

fail() {
    echo "FAILED: $*"
    exit 1
}
as_root=
[ "$(id -u)" -eq 0 ] || as_root='unshare --map-root-user'
installed=$scratch/installed
dpkg-query -W -f='${db:Status-Status}\t${Package}\t${Provides}\t${Depends}\t${Pre-Depends}\n' |
    sed -n 's/^installed\t//p' >"$installed"

cmake -S "$source" -B build -G Ninja -DCMAKE_BUILD_TYPE=Release -DCMAKE_INSTALL_PREFIX=/usr \
    -DBUILD_SHARED_LIBS=ON -DTELLTALE_PROGRAM=OFF -DTELLTALE_LINK=OFF -DTELLTALE_CLIENT=ON \
    -DTELLTALE_TESTS=OFF >cmake.log
cmake --build build >build.log || { tail -n 20 build.log; fail "build"; }
rm -rf made
cpack -G DEB --config build/CPackConfig.cmake -B "$scratch/made" >cpack.log 2>&1 || { cat cpack.log; fail "cpack"; }
version=$(sed -n 's/^project(telltale VERSION \([0-9.]*\).*/\1/p' "$source/CMakeLists.txt")
so=${version%.*}
c=$(echo made/libtelltale-c0_*.deb)
cpp=$(echo "made/libtelltale${so}_"*.deb)
development=$(echo made/libtelltale-dev_*.deb)
needs() { # FILE
    dpkg-deb -f "$1" Depends
}
files() { # FILE: the libraries in it, without their place and version
    dpkg-deb -c "$1" | awk '$6 ~ /\.(so|a|h|hpp|pc)(\.|$)/ { sub(".*/", "", $6); print $6 }'
}

# ---- what is in which ----------------------------------------------------------------------------
for name in decode client mimic vet; do
    files "$cpp" | grep -qx "libtelltale-$name.so.$so" || fail "no SONAME of $name"
    files "$development" | grep -qx "libtelltale-$name.so" || fail "no link to $name"
done
files "$c" | grep -qx 'libtelltale-c.so.0' || fail "no SONAME of c"
files "$development" | grep -qx 'libtelltale-c.so' || fail "no link to c"
files "$development" | grep -qx 'telltale.h' || fail "no header"
for file in "$c" "$cpp"; do
    ! files "$file" | grep -vE '\.so\.[0-9.]+$' || fail "$file: what is for development"
done
! files "$development" | grep -E '\.so\.' || fail "$development: what is to run"
for file in "$c" "$development"; do
    needs "$file" | grep -qF "libtelltale$so (= $version)" || fail "$file does not need the C++ libraries"
done
dpkg-deb -e "$cpp" control
grep -qx "libtelltale-decode $so libtelltale$so (>= $version)" control/shlibs || fail "no shlibs"
if command -v lintian >/dev/null; then
    lintian --allow-root --fail-on error,warning --suppress-tags bogus-mail-host "$c" "$cpp" "$development" ||
        fail "lintian"
fi

# ---- used ----------------------------------------------------------------------------------------
list=$(closure "$(needs "$development" | sed 's/libtelltale[^,]*, *//g')" "$(needs "$cpp")" \
    'g++' pkgconf dash libc-bin coreutils) || fail "needs of development"
# shellcheck disable=SC2086 # words are wanted
make_root "$scratch/root" $list || fail "the root could not be made"
at() { # COMMAND...
    in_root "$scratch/root" /usr/bin/env -i PATH=/usr/bin LC_ALL=C.UTF-8 "$@"
}
$as_root dpkg --root="$scratch/root" --force-not-root --log=dpkg.log -i "$c" "$cpp" "$development" >dpkg.out 2>&1 ||
    { cat dpkg.out; fail "dpkg refuses"; }
cp "$source/examples/demo/bad.pcapng" root/tmp/bad.pcapng
examples=/usr/share/doc/libtelltale-dev/examples
# shellcheck disable=SC2046
at gcc -std=c11 -Wall -Werror $examples/values.c -o /tmp/values $(at pkg-config --cflags --libs telltale-c) ||
    fail "a C program"
at /tmp/values /tmp/bad.pcapng | grep -q '^7E8 Engine speed: [0-9.]* rpm$' || fail "values"
# shellcheck disable=SC2046
at g++ -std=c++20 $examples/decode_bytes.cpp -o /tmp/decode_bytes \
    $(at pkg-config --cflags --libs telltale-decode) || fail "a C++ program"
readelf -d root/tmp/decode_bytes | grep -q "NEEDED.*libtelltale-decode\.so\.$so" || fail "it is not shared"
at /tmp/decode_bytes | grep -qx 'Engine speed: 1726.0 rpm' || fail "decode_bytes"
echo "as it should be"
