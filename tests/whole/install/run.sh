#!/bin/sh
# SPDX-License-Identifier: Apache-2.0
# run.sh static|shared|subdirectory SOURCE SCRATCH CXX LAUNCHER BUILT
set -eu
kind=$1
source=$2
scratch=$3
cxx=$4
launcher=$5
built=$6
outside=$source/tests/whole/outside

fail() {
    echo "FAILED: $*"
    exit 1
}

configure() { # SOURCE BUILD OPTION...
    from=$1
    into=$2
    shift 2
    # Many sources at once: the library itself was built before, source by source.
    cmake -S "$from" -B "$into" -G Ninja -DCMAKE_CXX_COMPILER="$cxx" -DCMAKE_CXX_FLAGS=-O0 \
        -DCMAKE_CXX_COMPILER_LAUNCHER="$launcher" \
        -DCMAKE_UNITY_BUILD=ON -DCMAKE_UNITY_BUILD_BATCH_SIZE=24 "$@" >"$scratch/configure.log" ||
        { cat "$scratch/configure.log"; fail "configure of $from"; }
}

build() { # BUILD
    cmake --build "$1" >"$scratch/build.log" || { cat "$scratch/build.log"; fail "build of $1"; }
}

# What a program or library asks the loader for: nothing but the language's own libraries.
needs_little() { # FILE [ALSO]
    for needed in $(readelf -d "$1" | sed -n 's/.*(NEEDED).*\[\(.*\)\]/\1/p'); do
        case $needed in
        libstdc++.so.* | libm.so.* | libgcc_s.so.* | libc.so.* | ld-linux*.so.*) ;;
        "${2:-none}") ;;
        *) fail "$1 needs $needed" ;;
        esac
    done
}

mkdir -p "$scratch"

if [ "$kind" = subdirectory ]; then
    configure "$outside" "$scratch/outside" -DFOUND_BY=subdirectory -DTELLTALE_SOURCE="$source"
    build "$scratch/outside"
    "$scratch/outside/outside" || fail "outside program"
    needs_little "$scratch/outside/outside"
    # As a guest the project builds neither its program nor its tests.
    test ! -e "$scratch/outside/telltale/examples" || fail "examples built as a guest"
    exit 0
fi

prefix=$scratch/prefix
rm -rf "$prefix"
link=OFF
if [ "$kind" = static ]; then
    # This build, which has what talks to a vehicle as well; who decodes only must not notice.
    cmake --install "$built" --prefix "$prefix" >"$scratch/install.log"
    [ ! -e "$prefix/include/telltale/link" ] || link=ON
else
    configure "$source" "$scratch/library" -DBUILD_SHARED_LIBS=ON -DTELLTALE_PROGRAM=OFF \
        -DTELLTALE_TESTS=OFF -DTELLTALE_LINK=OFF -DCMAKE_INSTALL_PREFIX="$scratch/never" \
        -DCMAKE_INSTALL_LIBDIR=lib
    build "$scratch/library"
    # To another place than was configured: the package files must not care.
    cmake --install "$scratch/library" --prefix "$prefix" >"$scratch/install.log"
fi

configure "$outside" "$scratch/package" -DFOUND_BY=package -DCMAKE_PREFIX_PATH="$prefix"
build "$scratch/package"
PKG_CONFIG_PATH=$prefix/lib/pkgconfig
export PKG_CONFIG_PATH
configure "$outside" "$scratch/pkgconfig" -DFOUND_BY=pkgconfig
build "$scratch/pkgconfig"
test "$(pkg-config --modversion telltale-decode)" = \
    "$(sed -n 's/^project(telltale VERSION \([0-9.]*\).*/\1/p' "$source/CMakeLists.txt")" ||
    fail "version in the pkg-config file"
case "$(pkg-config --cflags --libs telltale-decode)" in
*never*) fail "pkg-config names the configured prefix" ;;
esac

# And with no build system at all.
# shellcheck disable=SC2046 # words are wanted
"$cxx" -std=c++20 "$outside/main.cpp" -o "$scratch/plain" \
    $(pkg-config --cflags --libs telltale-decode) || fail "plain compiler call"

if [ "$link" = ON ]; then
    configure "$outside" "$scratch/link" -DFOUND_BY=link -DCMAKE_PREFIX_PATH="$prefix"
    build "$scratch/link"
    "$scratch/link/outside-link" || fail "outside program with a link"
fi

LD_LIBRARY_PATH=$prefix/lib
export LD_LIBRARY_PATH
for program in "$scratch/package/outside" "$scratch/pkgconfig/outside" "$scratch/plain"; do
    "$program" || fail "$program"
    if [ "$kind" = static ]; then
        needs_little "$program"
    else
        readelf -d "$program" | grep -q 'NEEDED.*libtelltale-decode' ||
            fail "$program does not use the shared library"
    fi
done

# In C: by pkg-config, by CMake in a project without C++, and from the archive.
values=$source/examples/embed/values.c
strict='-std=c11 -Wall -Wextra -Wpedantic -Wconversion -Werror'
# shellcheck disable=SC2046,SC2086 # words are wanted
cc $strict "$values" -o "$scratch/values" $(pkg-config --cflags --libs telltale-c) ||
    fail "C program by pkg-config"
CXX=/nowhere cmake -S "$source/tests/whole/c/outside" -B "$scratch/c" -G Ninja -DSOURCE="$values" \
    -DCMAKE_PREFIX_PATH="$prefix" >"$scratch/configure.log" ||
    { cat "$scratch/configure.log"; fail "configure in C"; }
build "$scratch/c"
set -- "$scratch/values" "$scratch/c/outside-c"
if [ "$kind" = static ]; then
    # shellcheck disable=SC2046,SC2086
    cc $strict "$values" -o "$scratch/values-static" $(pkg-config --cflags telltale-c) \
        -L"$prefix/lib" -l:libtelltale-c.a -ltelltale-decode -lstdc++ -lm ||
        fail "C program with the archive"
    set -- "$@" "$scratch/values-static"
fi
for program in "$@"; do
    "$program" "$source/examples/demo/bad.pcapng" | grep -q '^7E8 Engine speed: [0-9.]* rpm$' ||
        fail "$program"
done

# Nothing but the standard library and tl::expected is included, whatever header one takes.
find "$prefix/include" -name '*.hpp' | grep -vE '/telltale/(link/|client/live|vet/live)' | sort | sed 's/.*/#include "&"/' >"$scratch/all.cpp"
"$cxx" -std=c++20 -Wall -Wextra -Wpedantic -Werror -I"$prefix/include" -fsyntax-only \
    "$scratch/all.cpp" || fail "the headers do not compile together"
"$cxx" -std=c++20 -I"$prefix/include" -M "$scratch/all.cpp" >"$scratch/all.d"
if grep -E 'boost|spdlog|fmt/|nlohmann|CLI/' "$scratch/all.d"; then
    fail "a header needs more than the standard library and tl::expected"
fi

if [ "$kind" = shared ]; then
    library=$(find "$prefix/lib" -name 'libtelltale-decode.so.*.*.*')
    needs_little "$library"
    # It shows its own names and no others.
    nm -D --defined-only -C "$library" |
        grep -vE '^[0-9a-f]* . ((typeinfo|typeinfo name|vtable) for )?telltale::' >"$scratch/alien" ||
        true
    test ! -s "$scratch/alien" || { cat "$scratch/alien"; fail "symbols that are not telltale's"; }
    nm -D --defined-only -C "$library" | grep -q 'telltale::message::decode(' ||
        fail "the decoder is not exported"
    # Insides stay inside.
    nm -D --defined-only -C "$library" |
        grep -E 'telltale::([a-z]+::)?(detail::|\(anonymous)' >"$scratch/insides" || true
    test ! -s "$scratch/insides" || { cat "$scratch/insides"; fail "insides exported"; }
fi
