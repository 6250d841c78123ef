#!/bin/sh
# SPDX-License-Identifier: Apache-2.0
# usage: fuzz/run.sh SECONDS [TARGET...]
# Builds the fuzzers (clang, libFuzzer, address and undefined sanitizers) and runs each in turn for
# SECONDS, or only the TARGETs named, from the seeds of fuzz/seeds/TARGET and with the dictionary
# fuzz/dict/TARGET.dict where there is one. Prints a line a target. What crashes, hangs or eats memory
# is kept as fuzz/seeds/TARGET/found-*, so that the tests replay it from then on.
# Exit status: 0 nothing found, 1 something found, 2 wrong usage or no build.
set -u
usage() {
    echo "usage: fuzz/run.sh SECONDS [TARGET...]" >&2
    exit 2
}
[ $# -ge 1 ] || usage
seconds=$1
shift
case $seconds in '' | *[!0-9]*) usage ;; esac
top=$(CDPATH='' cd -- "$(dirname -- "$0")/.." && pwd) || exit 2
cd "$top" || exit 2
if [ $# -eq 0 ]; then
    for source in fuzz/*.cpp; do
        set -- "$@" "$(basename "$source" .cpp)"
    done
fi
for target in "$@"; do
    [ -f "fuzz/$target.cpp" ] || {
        echo "fuzz/run.sh: no target '$target' (fuzz/$target.cpp)" >&2
        exit 2
    }
done

[ -f build/fuzz/build.ninja ] || cmake --preset fuzz >/dev/null || exit 2
built=$(printf 'fuzz-%s ' "$@")
# shellcheck disable=SC2086
cmake --build build/fuzz --target $built >build/fuzz/run.log 2>&1 || {
    cat build/fuzz/run.log >&2
    exit 2
}

found_any=0
for target in "$@"; do
    seeds=fuzz/seeds/$target
    corpus=build/fuzz/corpus/$target # what the fuzzer adds; the seeds stay as they are
    log=build/fuzz/$target.log
    finds=build/fuzz/found/$target
    rm -rf "$finds"
    mkdir -p "$corpus" "$finds" "$seeds"
    set --
    [ -f "fuzz/dict/$target.dict" ] && set -- "-dict=fuzz/dict/$target.dict"
    status=0
    build/fuzz/bin/fuzz-"$target" "$@" -max_total_time="$seconds" -rss_limit_mb=1024 \
        -malloc_limit_mb=512 -timeout=10 -max_len=8192 -print_final_stats=1 -verbosity=1 \
        -artifact_prefix="$finds/" "$corpus" "$seeds" >"$log" 2>&1 || status=$?
    runs=$(sed -n 's/^stat::number_of_executed_units: *//p' "$log")
    coverage=$(sed -n 's/.* cov: \([0-9]*\) .*/\1/p' "$log" | tail -n 1)
    found=0
    for file in "$finds"/*; do
        [ -f "$file" ] || continue
        found=$((found + 1))
        cp "$file" "$seeds/found-$(basename "$file")"
    done
    [ "$status" -eq 0 ] || [ "$found" -gt 0 ] || found=1 # it died without leaving an input
    printf '%-16s %12s runs  coverage %6s  findings %s\n' \
        "$target" "${runs:-?}" "${coverage:-?}" "$found"
    if [ "$found" -gt 0 ]; then
        found_any=1
        sed -n '/ERROR:\|SUMMARY:\|runtime error:/p' "$log" | head -n 5 >&2
        echo "  see $log" >&2
    fi
done
exit "$found_any"
