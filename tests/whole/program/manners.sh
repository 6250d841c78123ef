#!/bin/sh
# SPDX-License-Identifier: Apache-2.0
# Exit statuses, standard input, pipes, colour, help, messages.
. "$(dirname -- "$0")/common.sh"

# Wrong usage.
status 2
status 2 nonsense
status 2 decode --as xml sample.log
status 2 decode --only NO_SUCH_NAME sample.log
says err "NO_SUCH_NAME"
status 2 decode --ids 7G0 sample.log
says err "7G0"
status 2 decode --units metric sample.log
[ -s out ] && fail "wrong usage wrote to standard output"

# Help and version.
status 0 --help
says out "decode"
status 0 --version
says out "telltale "
for command in decode report recheck catalogue; do
    status 0 "$command" --help
    says out "Example"
    says out "telltale $command"
done

# Input that cannot be read: status 2, a message naming the file; other files go on.
status 2 decode missing.log
says err "missing.log"
: >empty.log
status 2 decode empty.log
says err "empty.log"
says err "empty"
mkdir directory
status 2 decode directory
says err "directory"
printf 'Dear reader,\nthis is a letter.\n' >letter.txt
status 2 decode letter.txt
says err "letter.txt"
for command in decode report; do
    status 2 "$command" missing.log sample.log
    says err "missing.log"
    says out "P0143"
done

# Problems in the input do not change the status.
status 0 decode sample.log
says out "message-cut"
says err "problems"
status 0 report sample.log

# Standard input, named and not.
"$program" decode sample.log >direct 2>/dev/null
"$program" decode - <sample.log >dash 2>/dev/null || fail "decode -"
"$program" decode <sample.log >bare 2>/dev/null || fail "decode with nothing named"
# shellcheck disable=SC2002 # a pipe is what is tested
cat sample.log | "$program" decode >piped 2>/dev/null || fail "decode from a pipe"
for other in dash bare piped; do
    cmp direct $other || fail "$other differs"
done

# The same input gives the same output, whatever the locale, the time zone or the terminal.
for command in decode 'decode --as jsonl' 'decode --as csv' report 'report --as json' catalogue; do
    input=sample.log
    [ "$command" = catalogue ] && input=
    # shellcheck disable=SC2086 # words on purpose
    "$program" $command $input >one 2>/dev/null
    # shellcheck disable=SC2086
    LC_ALL=tr_TR.UTF-8 TZ=Asia/Tokyo TERM=dumb COLUMNS=20 NO_COLOR=1 \
        "$program" $command $input >two 2>/dev/null
    cmp one two || fail "$command is not the same twice"
    [ -s one ] || fail "$command printed nothing"
    grep -q "$(printf '\033')" one && fail "$command writes escape characters into a pipe"
done

# A line a message in a pipe, however long.
[ "$("$program" decode sample.log 2>/dev/null | wc -l)" -eq 15 ] || fail "lines of decode"

# On a terminal: wrapped to it, coloured unless NO_COLOR says no.
if command -v script >/dev/null 2>&1; then
    escape=$(printf '\033')
    TERM=xterm script -qec "stty cols 80; '$program' decode sample.log" terminal </dev/null >/dev/null
    grep -q "$escape" terminal || fail "no colour on a terminal"
    TERM=xterm NO_COLOR=1 script -qec "stty cols 80; '$program' decode sample.log" plain \
        </dev/null >/dev/null
    grep -q "$escape" plain && fail "colour in spite of NO_COLOR"
    sed '/^Script/d' plain | tr -d '\r\302' | awk 'length($0) > 80 { bad = 1 } END { exit bad }' ||
        fail "a line longer than the terminal"
else
    echo "no script(1): the terminal is not tested"
fi

# A reader that goes away is no error; a full disk is one.
i=0
while [ $i -lt 2000 ]; do
    cat sample.log
    i=$((i + 1))
done >long.log
{ "$program" decode long.log 2>broken; echo $? >broken.status; } | head -n 1 >/dev/null
[ "$(cat broken.status)" -eq 0 ] || fail "a broken pipe gives status $(cat broken.status)"
[ -s broken ] && fail "a broken pipe is not quiet: $(head -n 1 broken)"
if [ -w /dev/full ]; then
    "$program" decode sample.log >/dev/full 2>err
    [ $? -eq 2 ] || fail "a full disk does not give status 2"
    says err "cannot write"
fi

# A live dump shows at once: the answer is there before the input ends.
mkfifo live
"$program" decode - <live >live.out 2>/dev/null &
reader=$!
{
    head -n 4 sample.log
    tries=0
    while ! grep -q 'Engine speed 1726' live.out && [ $tries -lt 600 ]; do
        sleep 0.1
        tries=$((tries + 1))
    done
    [ $tries -lt 600 ] || echo late >late
} >live
wait $reader
[ -e late ] && fail "a live dump does not show at once"

# Several files: each line says which.
status 0 decode --as jsonl sample.log sample.log
says out '{"file":"sample.log"'
status 0 decode --as csv sample.log sample.log
says out "file,time,line"
status 0 decode sample.log sample.log
says out "== sample.log"

# The catalogue starts fast, and its reader may stop at once.
[ "$("$program" catalogue --as csv | head -n 1 | cut -d, -f1-3)" = table,service,id ] ||
    fail "head of the catalogue"

finish
