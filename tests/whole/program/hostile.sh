#!/bin/sh
# SPDX-License-Identifier: Apache-2.0
# Bad input: a clear error or a named problem, never a crash, never a wrong value.
. "$(dirname -- "$0")/common.sh"

both() { # WANTED ARGUMENT...: the status of decode in each form, and of report
    both_wanted=$1
    shift
    for form in text jsonl csv; do
        status "$both_wanted" decode --as $form "$@"
        [ $form = jsonl ] && [ "$both_wanted" -eq 0 ] && {
            "$check_jsonl" <out || fail "the contract of JSON Lines: $*"
        }
    done
    status "$both_wanted" report --as json "$@"
    status "$both_wanted" report "$@"
}

# A picture, a program, text of another kind.
printf '\377\330\377\340\000\020JFIF\000\001\001\000\000\001\000\001\000\000\377\333\000\103' >picture
both 2 picture
says err "picture"
head -c 200000 "$program" >binary
both 2 binary

# A dump cut at every byte of its last 200 (with sanitizers, whose programs start slowly, at every
# seventh). What is still said was said of the whole dump.
step=1
[ "$bound" -lt 100000000 ] || step=7
values() { # FILE: what ECUs said, without the problems
    grep -v ',problem,' "$1"
}
cut_everywhere() { # FILE
    size=$(wc -c <"$1")
    "$program" decode --as csv "$1" 2>/dev/null >whole.csv
    values whole.csv >whole.values
    cut=0
    while [ $cut -le 200 ] && [ $cut -lt "$size" ]; do
        head -c $((size - cut)) "$1" >piece
        "$program" decode --as csv piece >piece.csv 2>err
        got=$?
        [ $got -eq 0 ] || fail "$1 cut by $cut: status $got"
        values piece.csv >piece.values
        head -n "$(wc -l <piece.values)" whole.values | cmp -s - piece.values ||
            fail "$1 cut by $cut says something else"
        cut=$((cut + step))
    done
}
cut_everywhere sample.log
cut_everywhere "$source/examples/demo/bad.pcapng"
"$program" report "$source/examples/demo/bad.pcapng" | head -n 3 >/dev/null

# The same dump written otherwise says the same.
"$program" decode --as csv sample.log 2>/dev/null | values - >wanted.values
same_values() { # FILE WHAT
    "$program" decode --as csv "$1" 2>err | values - >got.values
    cmp -s wanted.values got.values || {
        fail "$2"
        diff wanted.values got.values | head -n 5
    }
}
carriage=$(printf '\r')
sed "s/\$/$carriage/" sample.log >crlf.log
same_values crlf.log "CRLF"
sed 's/ /\t/g' sample.log >tabs.log
same_values tabs.log "tabs"
sed 's/#\(.*\)/#\L\1/; s/7E8/7e8/; s/7DF/7df/' sample.log >lower.log
same_values lower.log "lower case"
{
    printf '\357\273\277'
    cat sample.log
} >mark.log
same_values mark.log "a byte-order mark"
{
    head -n 8 sample.log
    head -c 10000000 /dev/zero | tr '\0' 'A'
    echo
    tail -n +9 sample.log
} >wide.log
same_values wide.log "a line of 10 MB"
"$program" decode --as jsonl wide.log 2>/dev/null >out
says out '"problem":"line-too-long"'
{
    head -n 4 sample.log
    printf 'rubbish \001\002\377\n\n(7) can0 7E8#0\n(x) can0 7E8#00\n'
    tail -n +5 sample.log
} >rubbish.log
same_values rubbish.log "lines of rubbish"
both 0 rubbish.log

# Times that run backwards, that are absurd, that are missing.
printf '(5.000000) can0 7E8#0341057B\n(3.000000) can0 7E8#0341057C\n' >backwards.log
both 0 backwards.log
status 0 decode --as jsonl backwards.log
says out '"problem":"time-backwards"'
printf '(99999999999999999999.9) can0 7E8#0341057B\n(1.0) can0 7E8#0341057C\n' >absurd.log
both 0 absurd.log
printf '7E8 03 41 05 7B\n7E8 03 41 05 7C\n' >none.txt
both 0 none.txt

# Identifiers above their range.
printf '(1.0) can0 7E8#0341057B\n(1.1) can0 FFFFFFFF#0341057C\n(1.2) can0 800#0341057D\n' >ids.log
both 0 ids.log
status 0 decode --as csv ids.log
[ "$(grep -c ',response,' out)" -eq 1 ] || fail "a value from an identifier above the range"

# Text from a vehicle that would steer a terminal, a spreadsheet, a page.
cat >vin.log <<'END'
(1.000000) can0 7E8#10144902011B5B32
(1.010000) can0 7E8#214A3C7363726970
(1.020000) can0 7E8#22743E2C223D0A07
END
both 0 vin.log
escape=$(printf '\033')
for command in 'decode --as text' 'decode --as jsonl' 'decode --as csv' report 'report --as json'; do
    # shellcheck disable=SC2086 # words on purpose
    "$program" $command vin.log >out 2>err
    grep -q "$escape" out err && fail "$command passes an escape character on"
    [ "$(tr -d '\n' <out | LC_ALL=C tr -dc '\000-\037' | wc -c)" -eq 0 ] ||
        fail "$command passes control characters on"
done
"$program" report vin.log >out 2>/dev/null
says out 'not a VIN'
name=$(printf 'x\033[2J.log')
cp sample.log "$name"
"$program" report "$name" "$name.not" >out 2>err
grep -q "$escape" out err && fail "the name of a file passes an escape character on"

# A first frame that claims 4 GiB, from each of 100,000 identifiers.
awk 'BEGIN { for (i = 0; i < 100000; ++i)
    printf "(%d.%06d) can%d 1%07X#1000FFFFFFFF4102\n", i / 1000, i % 1000, i % 200, i }' >claims.log
for command in 'decode --as jsonl' 'decode --as csv --only 0C' report; do
    # shellcheck disable=SC2086
    "$measure" "$bound" "$program" $command --ids 1xxxxxxx claims.log >out 2>err ||
        fail "$command of 100,000 claims of 4 GiB: status $?: $(tail -n 1 err)"
done
"$program" decode --as jsonl --ids 1xxxxxxx claims.log 2>/dev/null >out
[ "$(grep -c message-over-bound out)" -eq 100000 ] || fail "claims that are not named"
# The same within the bound: a message of 64 KiB begun by each, never finished.
sed 's/1000FFFFFFFF4102/1FFF410241024102/' claims.log >begun.log
"$measure" "$bound" "$program" report --ids 1xxxxxxx begun.log >out 2>err ||
    fail "100,000 open messages: status $?: $(tail -n 1 err)"

finish
