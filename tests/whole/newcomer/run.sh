#!/bin/sh
# SPDX-License-Identifier: Apache-2.0
# run.sh SCRATCH [deb]: a newcomer with a bare Debian 12 does what README.md says and nothing else, up
# to the values that an outside program of ten lines prints; says how long each step took. By hand, as
# root, with mmdebstrap and a network; some minutes. With `deb`: the packages are made, installed in
# a second bare Debian and used there.
set -eu
source=$(CDPATH='' cd -- "$(dirname -- "$0")/../../.." && pwd)
scratch=$1
packages=${2:-}
mkdir -p "$scratch"
root=$scratch/root

fail() {
    echo "FAILED: $*"
    exit 1
}
seconds() {
    date +%s
}
step() { # NAME COMMAND...
    step_name=$1
    shift
    step_from=$(seconds)
    "$@" >"$scratch/$step_name.log" 2>&1 || { tail -n 30 "$scratch/$step_name.log"; fail "$step_name"; }
    echo "$step_name: $(($(seconds) - step_from)) s"
}
# block HEADING KIND NUMBER: the code block of README.md under a heading
block() {
    awk -v heading="## $1" -v fence="\`\`\`$2" -v wanted="$3" '
        /^## / { here = $0 == heading }
        /^```/ { inside = here && $0 == fence && ++count == wanted; next }
        inside' "$source/README.md"
}
# ROOT: a Debian as mmdebstrap makes it, which asks nobody and gets at the network as this machine does
bare() {
    rm -rf "$1"
    mmdebstrap --variant=minbase --quiet \
        --customize-hook='echo "APT::Get::Assume-Yes \"true\";" >"$1/etc/apt/apt.conf.d/yes"' \
        --customize-hook='cp /etc/resolv.conf "$1/etc/resolv.conf"' \
        --customize-hook='if [ -e /etc/ssl/certs/ca-certificates.crt ]; then cp /etc/ssl/certs/ca-certificates.crt "$1/etc/machine-ca.crt"; fi' \
        --customize-hook='for f in /etc/apt/apt.conf.d/99artifact*; do [ ! -e "$f" ] || cp "$f" "$1/etc/apt/apt.conf.d/"; done' \
        bookworm "$1"
}
inside() { # ROOT SCRIPT
    chroot "$1" /usr/bin/env -i PATH=/usr/local/sbin:/usr/local/bin:/usr/sbin:/usr/bin:/sbin:/bin HOME=/root \
        LC_ALL=C.UTF-8 DEBIAN_FRONTEND=noninteractive sh -eux -c "
        [ ! -e /etc/machine-ca.crt ] || export NPM_CONFIG_CAFILE=/etc/machine-ca.crt
        cd /telltale; $2"
}
sources() { # ROOT: as a clone has them
    mkdir -p "$1/telltale"
    (cd "$source" && git ls-files -z | tar --null -T - -cf -) | tar -C "$1/telltale" -xf -
}

echo "load: $(cut -d ' ' -f 1-3 /proc/loadavg)"
step bare bare "$root"
sources "$root"
from=$(seconds)
library=$(block Build sh 2)
[ -n "$library" ] || fail "README.md has no such block"
step library inside "$root" "$library"
own=$(block 'In your own program' sh 1)
[ -n "$own" ] || fail "README.md has no such block"
step program inside "$root" "$own"
tail -n 2 "$scratch/program.log"
grep -qx 'Engine speed: 1726.0 rpm' "$scratch/program.log" || fail "other values"
{
    echo 'cmake_minimum_required(VERSION 3.25)'
    echo 'project(yours LANGUAGES CXX)'
    echo 'add_executable(yours /telltale/examples/embed/decode_bytes.cpp)'
    block 'In your own program' cmake 1
} >"$scratch/CMakeLists.txt"
# find_package stands before the target in README.md
{
    sed '/^target_link_libraries/d;/^add_executable/d' "$scratch/CMakeLists.txt"
    echo 'add_executable(yours /telltale/examples/embed/decode_bytes.cpp)'
    grep '^target_link_libraries' "$scratch/CMakeLists.txt"
} >"$scratch/ordered"
mkdir -p "$root/yours"
cp "$scratch/ordered" "$root/yours/CMakeLists.txt"
step cmake inside "$root" 'cmake -S /yours -B /yours/build -G Ninja; cmake --build /yours/build; /yours/build/yours'
tail -n 2 "$scratch/cmake.log"
grep -qx 'Engine speed: 1726.0 rpm' "$scratch/cmake.log" || fail "other values by CMake"
echo "from a bare Debian to values: $(($(seconds) - from)) s"

[ "$packages" = deb ] || exit 0
deb=$(block Build sh 3)
[ -n "$deb" ] || fail "README.md has no such block"
# What examples/demo.sh installs is in it, word for word.
needs=$(sed -n '/^need /,/[^\\]$/p' "$source/examples/demo.sh" | sed 's/^need //; s/\\$//; s/[a-z]*://g')
step needs inside "$root" "apt-get install $(echo $needs) dpkg-dev file"
step packages inside "$root" "$deb"
other=$scratch/other
step bare-again bare "$other"
mkdir -p "$other/telltale"
cp "$root"/telltale/build/deb/*.deb "$other/telltale/"
sources "$other"
step install inside "$other" 'apt-get update; apt-get install ./telltale_*.deb ./libtelltale-c0_*.deb ./libtelltale-dev_*.deb g++ pkgconf'
step use inside "$other" 'telltale report examples/demo/bad.pcapng
    g++ -std=c++20 /usr/share/doc/libtelltale-dev/examples/decode_bytes.cpp \
        $(pkg-config --cflags --libs telltale-decode) -o /tmp/decode_bytes
    /tmp/decode_bytes'
tail -n 2 "$scratch/use.log"
# Nobody is named who packages: the address is nobody's.
step lintian inside "$other" 'apt-get install lintian
    lintian --allow-root --fail-on error,warning --suppress-tags bogus-mail-host *.deb'
