# SPDX-License-Identifier: Apache-2.0
# What the parts share. Each is called with PROGRAM SOURCE SCRATCH CHECK-JSONL MEASURE KIB.
set -u
program=$1
source=$2
scratch=$3
check_jsonl=$4
measure=$5
bound=$6
export ASAN_OPTIONS=detect_leaks=1 UBSAN_OPTIONS=print_stacktrace=1
rm -rf "$scratch"
mkdir -p "$scratch"
cd "$scratch" || exit 1
export LC_ALL=C
failures=0

fail() { # WHAT
    echo "FAILED: $1"
    failures=$((failures + 1))
}

# status WANTED ARGUMENT...: runs the program; output in `out`, messages in `err`.
status() {
    wanted=$1
    shift
    "$program" "$@" >out 2>err </dev/null
    got=$?
    [ "$got" -eq "$wanted" ] || {
        fail "exit status $got instead of $wanted: telltale $*"
        head -n 5 err
    }
}

says() { # FILE TEXT: the file holds the text
    grep -qF -e "$2" "$1" || {
        fail "no '$2' in $1:"
        head -n 8 "$1"
    }
}

finish() {
    [ "$failures" -eq 0 ] && echo "all passed"
    exit $((failures != 0))
}

# A dump with something of everything. Time in microseconds of an invented second.
cat >sample.log <<'END'
(1700000000.000000) can0 7DF#0201000000000000
(1700000000.010000) can0 7E8#064100BE3FA813AA
(1700000000.100000) can0 7DF#03010C0500000000
(1700000000.123456) can0 7E8#06410C1AF8057BAA
(1700000000.200000) can0 7DF#0209020000000000
(1700000000.210000) can0 7E8#1014490201314734
(1700000000.220000) can0 7E0#3000000000000000
(1700000000.230000) can0 7E8#2141483539483435
(1700000000.240000) can0 7E8#2247313138333431
(1700000000.300000) can0 7DF#0103000000000000
(1700000000.310000) can0 7E8#0443010143000000
(1700000000.320000) can0 7E9#037F017800000000
(1700000000.330000) can0 7E9#037F011200000000
(1700000000.430000) can0 7E8#0641053C41EE0000
(1700000000.510000) can0 7E8#100A4601810A0012
(1700000000.520000) can0 7E8#2100010020AAAAAA
(1700000001.610000) can0 7E8#05420C001AF8AAAA
(1700000001.710000) can0 7E8#1014490201314734
(1700000001.730000) can0 7E8#2241483539483435
END
