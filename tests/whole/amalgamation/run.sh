#!/bin/sh
# SPDX-License-Identifier: Apache-2.0
# run.sh BUILD SCRATCH COMPILER DUMP: the one header and the one source that BUILD writes, installed,
# compiled alone without exceptions and run-time types, with warnings as errors, and used.
set -eu
here=$(CDPATH='' cd -- "$(dirname -- "$0")" && pwd)
build=$1
scratch=$2
compiler=$3
dump=$4
rm -rf "$scratch"
mkdir -p "$scratch"
cmake --build "$build" --target amalgamation
cmake --install "$build" --component amalgamation --prefix "$scratch" >"$scratch/install.log"
cd "$scratch"
[ "$(find . -type f | sort | tr '\n' ' ')" = "./install.log ./telltale.cpp ./telltale.hpp " ] ||
    {
        echo "installed is something else:"
        find . -type f
        exit 1
    }
flags='-std=c++20 -fno-exceptions -fno-rtti -Wall -Wextra -Wpedantic -Wconversion -Wshadow -Werror'
case $("$compiler" --version | head -n 1) in
*g++*\ 12.*) flags="$flags -Wno-restrict" ;; # warns of "text" + std::string (its bug 105651)
esac
# shellcheck disable=SC2086 # words are wanted
"$compiler" $flags -c telltale.cpp -o telltale.o
# shellcheck disable=SC2086
"$compiler" $flags -I. "$here/outside.cpp" telltale.o -o outside
[ "$(./outside "$dump")" = 1726 ]
[ "$(./outside)" = "no dump
1726" ]
