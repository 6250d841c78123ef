#!/bin/sh
# SPDX-License-Identifier: Apache-2.0
# run.sh [TARGET...]: the decode target, put together as one source, on machines of another kind, which
# qemu emulates: s390x (big-endian) and armhf (32 bit) unless named otherwise. All tests of the
# library that need no program besides, and everything that the two demonstration dumps say, which
# must be the same as here. Says the processor time of each step. Variables: QUICK=1 for the
# reference vectors and the demonstration only; WORK, a folder (build/cross); AMALGAMATION, the folder
# of the one source, and ALL_OF_IT, all_of_it.cpp for this machine, where they are built already.
set -eu
here=$(CDPATH='' cd -- "$(dirname -- "$0")" && pwd)
root=$(CDPATH='' cd -- "$here/../.." && pwd)
work=${WORK:-$root/build/cross}
quick=${QUICK:-}
level=-O1
[ -z "$quick" ] || level=-O0
[ $# -gt 0 ] || set -- s390x armhf
cd "$root"
# shellcheck source=../support/packages.sh
. tests/support/packages.sh
launcher=
! command -v ccache >/dev/null 2>&1 || launcher=ccache

timed() { # NAME COMMAND...: says how many seconds of processor time it took
    timed_name=$1
    shift
    # The times of the children of a shell of its own.
    sh -c '"$@"; status=$?; times >&3; exit $status' sh "$@" 3>"$work/times"
    sed -n '2s/[ms]/ /gp' "$work/times" |
        awk -v name="$timed_name" '{printf "%s: %.1f s\n", name, $1 * 60 + $2 + $3 * 60 + $4}'
}

mkdir -p "$work"
if [ -z "${AMALGAMATION:-}" ]; then
    cmake -S . -B "$work/here" -G Ninja -DTELLTALE_PROGRAM=OFF -DTELLTALE_LINK=OFF -DTELLTALE_TESTS=OFF \
        >"$work/configure.log"
    cmake --build "$work/here" --target amalgamation >"$work/amalgamation.log"
    AMALGAMATION=$work/here/lib/amalgamation
fi
flags='-std=c++20 -Wall -Wextra -Wpedantic -Wconversion -Wshadow -Wno-restrict -Wno-psabi -Werror'

compile() { # OUTPUT SOURCE OPTION...
    compile_output=$1
    compile_source=$2
    shift 2
    # The headers of tl::expected, doctest and Boost are no machine's own: after those of the target.
    # shellcheck disable=SC2086 # words are wanted
    timed "  ${compile_output##*/}" $launcher "$compiler" $flags "$@" -c "$compile_source" \
        -o "$compile_output"
}

build() { # builds what is to run into $folder
    mkdir -p "$folder"
    # As embedded programs are built; the tests' own code has exceptions.
    compile "$folder/telltale.o" "$AMALGAMATION/telltale.cpp" -idirafter /usr/include \
        -fno-exceptions -fno-rtti "$level"
    compile "$folder/all_of_it.o" "$here/all_of_it.cpp" -I"$AMALGAMATION" -idirafter /usr/include
    "$compiler" "$folder/all_of_it.o" "$folder/telltale.o" -o "$folder/all_of_it" -static
}

demo="examples/demo/good.pcapng examples/demo/bad.pcapng"
if [ -z "${ALL_OF_IT:-}" ]; then
    folder=$work/native
    compiler=${CXX:-g++}
    echo "native:"
    build
    ALL_OF_IT=$folder/all_of_it
fi
# shellcheck disable=SC2086
"$ALL_OF_IT" $demo >"$work/native.txt"
[ "$(wc -l <"$work/native.txt")" -gt 1000 ]
grep -q '^suspect: Intake manifold absolute pressure' "$work/native.txt"

# Outside programs and libraries have a say in some tests; there is none for another machine.
sources=$(ls tests/base/*.cpp tests/frame/*.cpp tests/isotp/*.cpp tests/catalogue/*.cpp \
    tests/message/*.cpp tests/vehicle/*.cpp tests/run/*.cpp tests/dump/*.cpp |
    grep -v -e tshark -e libpcap -e tests/dump/pcap -e tests/dump/writer)
[ -z "$quick" ] || sources="tests/catalogue/vectors_test.cpp tests/message/vectors_test.cpp"

for target in "$@"; do
    case $target in
    s390x) triple=s390x-linux-gnu qemu=qemu-s390x ;;
    armhf) triple=arm-linux-gnueabihf qemu=qemu-arm ;;
    *)
        echo "no such target: $target" >&2
        exit 2
        ;;
    esac
    compiler=$triple-g++
    if [ -z "$quick" ]; then
        need "$compiler:g++-$triple" "$qemu:qemu-user" doctest-dev libexpected-dev libboost-dev
    elif ! command -v "$compiler" >/dev/null || ! command -v "$qemu" >/dev/null; then
        echo "SKIPPED: no $compiler or no $qemu (Debian: g++-$triple, qemu-user)"
        exit 77
    fi
    folder=$work/$target
    echo "$target:"
    build
    objects=
    for source in tests/support/main.cpp $sources; do
        object=$folder/$(echo "${source#tests/}" | tr / _).o
        # The tests' own arithmetic is written for 64 bits; the library's warnings are errors.
        compile "$object" "$source" -Wno-conversion -Wno-error -Ilib/include -I"$AMALGAMATION/../include" -Itests \
            -idirafter /usr/include -DTELLTALE_SOURCE_DIR="\"$root\"" -DTELLTALE_PROGRAM='""'
        objects="$objects $object"
    done
    # shellcheck disable=SC2086
    "$compiler" $objects "$folder/telltale.o" -o "$folder/tests" -static
    timed "  tests" "$qemu" "$folder/tests"
    # shellcheck disable=SC2086
    timed "  demonstration" "$qemu" "$folder/all_of_it" $demo >"$work/$target.txt"
    tail -n 1 "$work/$target.txt"
    sed '$d' "$work/$target.txt" | cmp "$work/native.txt" -
done
