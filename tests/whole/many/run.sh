#!/bin/sh
# SPDX-License-Identifier: Apache-2.0
# run.sh TELLTALE SOURCE SCRATCH: many dumps at once: folders, order, bad files, memory that does not
# grow, the same output whatever the number of jobs.
set -eu
telltale=$1
demo=$2/examples/demo
rm -rf "$3"
mkdir -p "$3"
cd "$3"
fail() { echo "FAIL: $*" >&2; exit 1; }
has() { grep -qF -- "$2" "$1" || { cat "$1" >&2; fail "$1 lacks: $2"; }; }
status() { # WANTED COMMAND...: into `out` and `err`
    wanted=$1
    shift
    got=0
    "$telltale" "$@" >out 2>err || got=$?
    [ "$got" = "$wanted" ] || { cat err >&2; fail "status $got, not $wanted: $*"; }
}

mkdir -p dumps/b dumps/a/deep
answer() { # TIME RPM-HEX: an answer in a text log
    printf '(%s.0) can0 7E8#04410C%sAAAAAA\n' "$1" "$2"
}
for i in 1 2 3 4 5 6 7 8 9; do
    answer $i "1A0$i" >"dumps/b/$i.log"
done
cp "$demo/bad.pcapng" dumps/a/deep/large.pcapng # far larger than the others, and first
answer 5 1AF8 >dumps/a/z.log
printf 'no dump at all: notes of a technician\n' >dumps/b/notes.txt
: >dumps/b/empty
printf '\211PNG\r\n\032\n' >dumps/b/picture.png

for form in jsonl csv text; do
    status 0 decode dumps --as $form -j 1
    mv out one.$form
    mv err one.err
    for jobs in 2 3 16; do
        status 0 decode dumps --as $form -j $jobs
        cmp out one.$form || fail "$form with $jobs jobs is not the same"
        cmp err one.err || fail "messages with $jobs jobs are not the same"
    done
done
has one.err "telltale: dumps: 3 files are no dumps and were passed over"
# In the order of the paths, each object with its file.
sed 's/^{"file":"\([^"]*\)".*/\1/' one.jsonl | uniq >order
{
    echo dumps/a/deep/large.pcapng
    echo dumps/a/z.log
    for i in 1 2 3 4 5 6 7 8 9; do echo "dumps/b/$i.log"; done
} | cmp - order || fail "order"
[ "$(grep -c '^file,' one.csv)" = 1 ] || fail "heads in CSV"

for form in json text; do
    status 0 report dumps --as $form -j 1
    mv out one.$form
    status 0 report dumps --as $form -j 8
    cmp out one.$form || fail "report as $form with 8 jobs is not the same"
done
[ "$(wc -l <one.json)" = 11 ] || fail "reports"

# A named file that cannot be read is said, the others go on, the status tells.
status 2 decode dumps/b/1.log dumps/b/notes.txt nowhere.log dumps/b/2.log --as jsonl -j 4
has err "dumps/b/notes.txt: "
has err "nowhere.log: "
[ "$(wc -l <out)" = 2 ] || fail "what can be read beside what cannot"
status 2 report dumps/b/1.log nowhere.log --as json
[ "$(wc -l <out)" = 1 ] || fail "a report beside a bad file"
# One file alone names none, as ever; a folder always does.
status 0 decode dumps/b/1.log --as jsonl
! grep -q '"file"' out || fail "one file is named"
mkdir single
cp dumps/b/1.log single
status 0 decode single --as jsonl
has out '{"file":"single/1.log"'
# Standard input among others, and a reader that goes away.
"$telltale" decode dumps/b/1.log - dumps/b/2.log --as csv <dumps/b/3.log >out
has out "-,3.000000,can0,7E8"
"$telltale" decode dumps dumps dumps --as jsonl -j 4 | head -n 1 >out
[ "$(wc -l <out)" = 1 ] || fail "a reader that goes away"
