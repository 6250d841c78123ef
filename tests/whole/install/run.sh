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
    # What is fetched is a subdirectory too, and built by another test: here it is only set up.
    configure "$outside" "$scratch/outside" -DFOUND_BY=subdirectory -DTELLTALE_SOURCE="$source"
    ninja -C "$scratch/outside" -t commands outside >"$scratch/build.log" || fail "nothing makes it"
    grep -q 'libtelltale-decode.a' "$scratch/build.log" || fail "the library is not made"
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
    [ ! -e "$prefix/include/telltale/link/link.hpp" ] || link=ON
else
    # From a repository into the build of another project, whose libraries are shared.
    # A later run commits on top of what an earlier one made, as a project does.
    repository=$scratch/repository
    mkdir -p "$repository"
    find "$repository" -mindepth 1 -maxdepth 1 ! -name .git -exec rm -rf {} +
    (cd "$source" && git ls-files -z --cached --others --exclude-standard -- CMakeLists.txt LICENSE lib |
        tar --null -T - -cf -) | tar -C "$repository" -xf - || fail "copy of the sources"
    git -C "$repository" init -q -b master
    git -C "$repository" add -A .
    git -C "$repository" -c user.name=test -c user.email=test@localhost commit -q --allow-empty -m state
    configure "$outside" "$scratch/guest" -DFOUND_BY=fetch -DTELLTALE_SOURCE="file://$repository" \
        -DBUILD_SHARED_LIBS=ON -DTELLTALE_CLIENT=ON -DPARTS=client \
        -DCMAKE_INSTALL_PREFIX="$scratch/never" -DCMAKE_INSTALL_LIBDIR=lib
    build "$scratch/guest"
    "$scratch/guest/outside" || fail "outside program with the fetched library"
    "$scratch/guest/outside-parts" || fail "outside program with the fetched parts"
    test ! -e "$scratch/guest/_deps/telltale-build/examples" || fail "examples built as a guest"
    # To another place than was configured: the package files must not care.
    cmake --install "$scratch/guest" --prefix "$prefix" >"$scratch/install.log"
fi
parts=client
[ "$link" = OFF ] || parts='client;link;live'

configure "$outside" "$scratch/package" -DFOUND_BY=package -DPARTS="$parts" -DCMAKE_PREFIX_PATH="$prefix"
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
    "$scratch/package/outside-link" || fail "outside program with a link"
    "$scratch/package/outside-live" || fail "outside program with the client on a link"
fi
# The parts without I/O need no more than decoding does.
if [ "$kind" = static ]; then
    needs_little "$scratch/package/outside-parts"
fi

LD_LIBRARY_PATH=$prefix/lib
export LD_LIBRARY_PATH
for program in "$scratch/package/outside" "$scratch/package/outside-parts" "$scratch/pkgconfig/outside" "$scratch/plain"; do
    "$program" || fail "$program"
    if [ "$kind" = static ]; then
        needs_little "$program"
    else
        readelf -d "$program" | grep -q 'NEEDED.*libtelltale-[a-z]*\.so\.' ||
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
    decode=$(readelf -d "$prefix/lib/libtelltale-decode.so" | sed -n 's/.*(SONAME).*\[\(.*\)\]/\1/p')
    for library in "$prefix"/lib/libtelltale-*.so.*.*.*; do
        name=$(basename "$library")
        case $name in
        libtelltale-c.*) continue ;; # has a test of its own
        libtelltale-decode.*) needs_little "$library" ;;
        *) needs_little "$library" "$decode" ;;
        esac
        # It shows its own names and no others, and none of its insides.
        nm -D --defined-only -C "$library" >"$scratch/names"
        grep -vE '^[0-9a-f]* . ((typeinfo|typeinfo name|vtable) for )?telltale::' "$scratch/names" >"$scratch/alien" || true
        test ! -s "$scratch/alien" || { cat "$scratch/alien"; fail "$name: symbols that are not telltale's"; }
        grep -E 'telltale::([a-z]+::)?(detail::|\(anonymous)' "$scratch/names" >"$scratch/insides" || true
        test ! -s "$scratch/insides" || { cat "$scratch/insides"; fail "$name: insides exported"; }
    done
    nm -D --defined-only -C "$prefix"/lib/libtelltale-decode.so.*.*.* | grep -q 'telltale::message::decode(' ||
        fail "the decoder is not exported"
fi
