#!/bin/sh
# SPDX-License-Identifier: Apache-2.0
# Everything that a change must pass: installs what is missing, then builds and tests with GCC and
# with Clang and its sanitizers, and checks the form of the sources. Says how long each stage took;
# its last lines are ctest's own. Folders build/check-*.
set -u
root=$(CDPATH='' cd -- "$(dirname -- "$0")/.." && pwd)
cd "$root" || exit 1
unset CDPATH
. tests/support/packages.sh
logs=build/check-logs
mkdir -p "$logs"
jobs=$(nproc 2>/dev/null || echo 2)
launcher=
! command -v ccache >/dev/null 2>&1 || launcher=ccache
failed=

cpu() { # sets cpu_now: seconds of processor time that finished children took
    times >"$logs/times"
    cpu_now=$(sed -n '2s/[ms]/ /gp' "$logs/times" | awk '{printf "%d", $1 * 60 + $2 + $3 * 60 + $4}')
}

stage() { # NAME COMMAND...: runs it, says how long it took, remembers a failure
    stage_name=$1
    shift
    echo "== $stage_name"
    stage_from=$(date +%s)
    cpu
    stage_cpu=$cpu_now
    if "$@" >"$logs/$stage_name.log" 2>&1; then
        stage_word=passed
    else
        stage_word=FAILED
        failed="$failed $stage_name"
        # Without ctest's lines of what passed, it is what failed that is left.
        grep -vE '^ *(Start +[0-9]+:|[0-9]+/[0-9]+ Test +#[0-9]+:.* Passed )' \
            "$logs/$stage_name.log" | tail -n 100
    fi
    cpu
    echo "== $stage_name: $stage_word after $(($(date +%s) - stage_from)) s" \
        "($((cpu_now - stage_cpu)) s of processor time)"
    [ "$stage_word" = passed ]
}

packages() {
    need cmake ninja-build g++ clang clang-format clang-tidy libclang-rt-dev pkgconf:pkgconf \
        libexpected-dev doctest-dev libcli11-dev nlohmann-json3-dev libboost-dev libspdlog-dev \
        libssl-dev libncurses-dev tmux:tmux libpcap-dev libbenchmark-dev tshark:tshark units:units npm:npm node:nodejs \
        chromium:chromium xmllint:libxml2-utils datamash:datamash readelf:binutils git:git openssl:openssl \
        qemu-system-x86_64:qemu-system-x86 doxygen:doxygen \
        s390x-linux-gnu-g++:g++-s390x-linux-gnu qemu-s390x:qemu-user busybox:busybox-static luajit:luajit sqlite3:sqlite3 \
        groff:groff-base dpkg-shlibdeps:dpkg-dev file:file || return 1
    sh tests/whole/kernel/fetch.sh build/kernel || true # what is missing, the test says
}

format() {
    git ls-files '*.cpp' '*.hpp' '*.c' '*.h' | xargs clang-format --dry-run --Werror
}

build() { # PRESET OPTION...
    build_preset=$1
    shift
    cmake --preset "$build_preset" -B "build/check-$build_preset" -DTELLTALE_WERROR=ON \
        -DCMAKE_CXX_COMPILER_LAUNCHER="$launcher" "$@" &&
        cmake --build "build/check-$build_preset" -- -k 0
}

check() { # PRESET OPTION...
    check_preset=$1
    shift
    # Nothing here may wait for a person. One more at a time than processors: some mostly wait.
    ctest --test-dir "build/check-$check_preset" --output-on-failure -j $((jobs + 1)) "$@" </dev/null
}

# Twelve sources of the library together, which parses what they include once: so the analyser has
# to be told to look at what is included, and that it is sources is no finding. It gives up on a
# function after fewer steps than it would. The compiler knows reserved names in less time.
tidy() {
    cmake --preset clang -B build/check-tidy -DTELLTALE_TESTS=OFF -DTELLTALE_PROGRAM=OFF \
        -DCMAKE_UNITY_BUILD=ON -DCMAKE_UNITY_BUILD_BATCH_SIZE=12 &&
        sed -n 's/^ *"file": "\(.*\)",*$/\1/p' build/check-tidy/compile_commands.json |
        xargs -n 1 -P "$jobs" clang-tidy -p build/check-tidy --quiet \
            --checks=-bugprone-suspicious-include,-bugprone-reserved-identifier,clang-diagnostic-reserved-identifier \
            --header-filter='lib/(include/telltale|src)/' --extra-arg=-Wreserved-identifier \
            --extra-arg=-Xclang --extra-arg=-analyzer-opt-analyze-headers \
            --extra-arg=-Xclang --extra-arg=-analyzer-config --extra-arg=-Xclang \
            --extra-arg=max-nodes=10000
}

stage packages packages || exit 1
stage format format
stage build-gcc build release -DTELLTALE_BENCH=ON -DTELLTALE_JOINED=ON && stage test-gcc check release
# Clang and the sanitizers in one: half the time of two builds. GCC compiled each source of the
# library by itself, here twelve go together. (Precompiled headers save GCC nothing.)
stage build-clang build asan -DCMAKE_CXX_COMPILER=clang++ -DTELLTALE_PRECOMPILED=ON -DTELLTALE_JOINED=ON \
    -DCMAKE_UNITY_BUILD=ON -DCMAKE_UNITY_BUILD_BATCH_SIZE=12 && stage test-clang check asan -LE once
stage tidy tidy

echo
for preset in gcc clang; do
    echo "test-$preset:"
    grep -E '^[0-9]+% tests passed|^Total Test time|\(Failed\)|\(Timeout\)|\*\*\*' \
        "$logs/test-$preset.log" 2>/dev/null || echo "did not run"
done
if [ -n "$failed" ]; then
    echo "FAILED:$failed"
    exit 1
fi
