#!/bin/sh
# SPDX-License-Identifier: Apache-2.0
# run.sh BIN SCRATCH SECONDS: `telltale record` as people use it: a drive with a mark, a recording
# whose program is killed, one of what lies about marks, a full bus for SECONDS, the screen in tmux.
set -eu
bin=$1
scratch=$2
seconds=$3
telltale=$bin/telltale
mkdir -p "$scratch"
cd "$scratch"
rm -f ./*
mimic=
bus=
tmux_name=telltale-record-$$

cleanup() {
    [ -z "$mimic" ] || kill "$mimic" 2>/dev/null || true
    [ -z "$bus" ] || kill "$bus" 2>/dev/null || true
    tmux -L "$tmux_name" kill-server 2>/dev/null || true
}
trap cleanup EXIT INT TERM

fail() {
    echo "FAILED: $*"
    exit 1
}

wait_for() { # FILE PATTERN: a line of that kind; sets `line`
    tries=0
    until line=$(grep -m1 "$2" "$1" 2>/dev/null); do
        tries=$((tries + 1))
        [ "$tries" -lt 300 ] || fail "no '$2' in $1"
        sleep 0.1
    done
}

start_mimic() { # OPTION...
    "$telltale" mimic slcan:pty --seed 3 "$@" >mimic.out 2>&1 &
    mimic=$!
    wait_for mimic.out '^slcan:'
    link=$line
}

mkfifo keys
exec 3<>keys # what is typed; it does not end

# Records in the background; goes on once an engine speed was printed. A machine that is busy with
# other tests may let a second pass before an answer: it is asked again then.
recording() { # NAME OPTION...
    name=$1
    shift
    for attempt in 1 2 3; do
        rm -f "$name.pcapng"
        "$telltale" record "$link" -o "$name.pcapng" "$@" <&3 >"$name.txt" 2>"$name.err" &
        recorder=$!
        tries=0
        until grep -q 'Engine speed' "$name.txt" || grep -q "^telltale: $name.pcapng: " "$name.err"; do
            tries=$((tries + 1))
            [ "$tries" -lt 300 ] || fail "no 'Engine speed' in $name.txt"
            sleep 0.1
        done
        if grep -q 'Engine speed' "$name.txt"; then return; fi
        echo "attempt $attempt: $(cat "$name.err")"
        wait "$recorder" || true
    done
    fail "no ECU answers $name"
}

# A vehicle that speaks OBDonUDS.
start_mimic --uds
recording uds --only RPM --for 8s
wait "$recorder" || fail "OBDonUDS: $(cat uds.err)"
grep -q 'Engine speed: [0-9.]* rpm' uds.txt || fail "no engine speed of an OBDonUDS vehicle"
kill "$mimic"
rm mimic.out

# A drive with a mark, asked for by name, printed once a second.
start_mimic
recording drive --only RPM,VSS --for 5s
echo 'felt a jerk' >&3
wait "$recorder" || fail "record: $(cat drive.err)"
grep -q 'driver drives' drive.err || fail "no word about the driver"
grep -q 'Engine speed: [0-9.]* rpm' drive.txt || fail "no engine speed printed"
grep -q 'nothing lost' drive.err || fail "something was lost: $(cat drive.err)"
"$telltale" decode drive.pcapng --only RPM | grep -q 'Engine speed' || fail "no engine speed kept"
if command -v tshark >/dev/null; then
    tshark -r drive.pcapng -Y frame.comment -T fields -e frame.comment 2>/dev/null |
        grep -qx 'felt a jerk' || fail "tshark finds no mark"
fi
# Never over a recording that is there.
if "$telltale" record "$link" -o drive.pcapng --for 1s </dev/null >again.txt 2>&1; then
    fail "a recording was written over"
fi

# Killed in the middle: all but the last second is there, and the file reads to its end.
recording killed --only RPM
grows() { # SIZE: the file of it has more bytes than that, by and by; sets `size`
    tries=0
    until size=$(cat killed.pcapng 2>/dev/null | wc -c) && [ "$size" -gt "$1" ]; do
        tries=$((tries + 1))
        [ "$tries" -lt 300 ] || fail "killed.pcapng does not grow beyond $1 bytes"
        sleep 0.1
    done
}
grows 0
sleep 2
grows "$size"
kill -9 "$recorder"
wait "$recorder" 2>/dev/null || true
"$telltale" decode killed.pcapng >killed.dec 2>killed.err || fail "what was killed cannot be read"
if grep -q cut_record killed.err killed.dec; then fail "a block of it is cut"; fi
[ "$(grep -c 'Engine speed' killed.dec)" -gt 20 ] || fail "little of it is there"

# Only what lies about a mark.
recording about --only RPM --keep-before 1s --keep-after 1s --for 8s
sleep 2 # so that there is something before it
echo 'here' >&3
wait "$recorder" || fail "keep: $(cat about.err)"
span=$("$telltale" decode about.pcapng | awk 'NR == 1 { first = $1 } { last = $1 }
    END { printf "%d", (last - first) * 10 }')
[ "$span" -ge 15 ] && [ "$span" -le 23 ] || fail "kept $span tenths of a second about the mark"

# The screen, at several sizes.
if command -v tmux >/dev/null; then
    t() { tmux -L "$tmux_name" "$@"; }
    LC_ALL=C.UTF-8 t -u -f /dev/null new-session -d -x 80 -y 24 -s r \
        "LC_ALL=C.UTF-8 '$telltale' record '$link' -o screen.pcapng 2>screen.err; echo ended \$?; sleep 60"
    seen() { # PATTERN
        tries=0
        until t capture-pane -p -t r >pane.txt && grep -q "$1" pane.txt; do
            tries=$((tries + 1))
            [ "$tries" -lt 300 ] || { cat pane.txt; fail "the screen does not show '$1'"; }
            sleep 0.1
        done
    }
    seen 'The driver drives'
    t send-keys -t r x
    seen 'Engine speed.*rpm'
    seen 'q: end'
    t send-keys -t r ' '
    seen 'marks 1'
    for size in '120 40' '50 12' '200 60' '10 3' '80 24'; do
        # shellcheck disable=SC2086 # words are wanted
        set -- $size
        t resize-window -t r -x "$1" -y "$2"
        if [ "$1" -lt 20 ]; then
            seen 'window'
        else
            # The picture fills the window, once it is drawn anew: the last line is the foot.
            tries=0
            until seen 'q: end' && [ "$(grep -n 'q: end' pane.txt | cut -d: -f1)" = "$2" ]; do
                tries=$((tries + 1))
                [ "$tries" -lt 300 ] || { cat pane.txt; fail "the picture does not fit $size"; }
                sleep 0.1
            done
        fi
        t send-keys -t r Down
    done
    seen 'frames'
    t send-keys -t r q
    seen 'ended 0'
    grep -q ' 1 mark, nothing lost' screen.err || fail "screen: $(cat screen.err)"
fi
kill "$mimic"
mimic=

# A full bus: nothing is dropped, and little of the processor is used.
"$bin/record-bus" "$seconds" 8000 >bus.out &
bus=$!
wait_for bus.out '^/dev/'
(
    "$telltale" record "slcan:$line,listen" -o full.pcapng --for "$((seconds + 4))s" \
        </dev/null >full.txt 2>full.err
    times >full.times
) || fail "record of a full bus: $(cat full.err)"
wait_for bus.out '^[0-9]'
sent=$line
grep -q "full.pcapng: $sent frames, 0 marks, nothing lost" full.err ||
    fail "$sent frames sent; $(cat full.err)"
used=$(sed -n 2p full.times | sed 's/[ms]/ /g' | awk '{ print $1 * 60 + $2 + $3 * 60 + $4 }')
echo "full bus: $sent frames in $seconds s, $used s of processor time"
kill "$bus"
bus=
