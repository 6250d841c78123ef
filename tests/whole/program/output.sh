#!/bin/sh
# SPDX-License-Identifier: Apache-2.0
# What the commands print.
. "$(dirname -- "$0")/common.sh"

same() { # NAME: `out` is what stands in `wanted`
    cmp -s wanted out || {
        fail "$1 differs"
        diff wanted out | head -n 20
    }
}

narrow() { # FILE: no line of more than 80 columns; what is not ASCII here is two bytes, C2 first
    tr -d '\302' <"$1" | awk 'length($0) > 80 { print; bad = 1 } END { exit bad }'
}

# CSV of one value: 1AF8 / 4 (ISO 15031-5 annex B, PID 0C). The freeze frame's is another service.
cat >wanted <<'END'
time,line,id,kind,service,pid,name,value,unit,text
1700000000.123456,can0,7E8,response,01,0C,"Engine speed",1726,/min,
1700000000.320000,can0,7E9,negative,01,,negative response 78,,,"request received, response pending"
1700000000.330000,can0,7E9,negative,01,,negative response 12,,,"subfunction not supported"
1700000001.730000,can0,7E8,problem,,,consecutive-lost,,,"consecutive frame 1 was expected and 2 came; the message is lost (line 19)"
END
status 0 decode --as csv --only 0C sample.log
same "CSV of one PID"
for only in RPM rpm 01:0C; do
    status 0 decode --as csv --only $only sample.log
    same "--only $only"
done

# Another service, and units: 7B - 40 = 83 C = 181.4 F (GNU units).
status 0 decode --as csv --only 02:0C sample.log
says out '02,0C,"Engine speed",1726,/min,"freeze frame 0"'
grep -q ',01,0C,' out && fail "--only 02:0C shows service 01"
status 0 decode --as csv --only ECT --units us sample.log
says out '"Engine coolant temperature",181.4,[degF],'
status 0 decode --as csv --only 03: sample.log
says out ',03,,stored code,,,P0143'
status 0 decode --as csv --only 0C,05 sample.log
[ "$(grep -c ',response,' out)" -eq 3 ] || fail "--only of two"

# As a watch list names values: a field, an ECU, a name, a ready-made list, a list of one's own.
for only in 'Engine speed' 7E8:0C 0C.0; do
    status 0 decode --as csv --only "$only" sample.log
    same "--only $only"
done
status 0 decode --as csv --only 7E9:0C sample.log
grep -q ',01,0C,' out && fail "--only of another ECU"
status 0 decode --as csv --watch air sample.log
says out '"Engine speed",1726'
grep -q 'coolant' out && fail "--watch air shows the coolant temperature"
printf 'ECT # coolant\n' >mine.txt
status 0 decode --as csv --watch mine.txt sample.log
says out '"Engine coolant temperature",83,Cel,'
grep -q '"Engine speed",1726,/min,$' out && fail "--watch of one's own"
status 2 decode --watch no-such-list sample.log
status 0 report --watch mine.txt sample.log
says out "Engine coolant temperature"
grep -q '^  Engine speed' out && fail "report --watch"

# JSON Lines: another JSON library reads every line and holds it to the contract.
status 0 decode --as jsonl sample.log
"$check_jsonl" <out || fail "the contract of JSON Lines"
cat >wanted <<'END'
{"time":1700000000.123456,"line":"can0","id":"7E8","kind":"response","service":"01","bytes":"410C1AF8057B","values":[{"id":"0C","name":"Engine speed","short":"RPM","value":1726,"unit":"/min","text":null},{"id":"05","name":"Engine coolant temperature","short":"ECT","value":83,"unit":"Cel","text":null}]}
END
grep -F '"bytes":"410C1AF8057B"' out >line
cmp wanted line || fail "a response as JSON"
says out '"kind":"response","service":"03","bytes":"43010143","values":[],"dtcs":["P0143"]}'
says out '"code":"78","text":"request received, response pending","pending":true,"values":[]}'
says out '"test":"81"'
says out '"passed":true'
says out '"problem":"message-cut"'
status 0 decode --as jsonl --units us "$source/examples/demo/bad.pcapng"
"$check_jsonl" <out || fail "the contract on the demonstration"

# After what cannot be read, what came before it stands, and the problem follows.
grep -n -A1 '"bytes":"41053C41EE00"' out >/dev/null && fail "a line of another dump"
status 0 decode --as jsonl sample.log
grep -F '"bytes":"41053C41EE00"' out | sed 's/.*"kind":"\([a-z]*\)".*/\1/' | tr '\n' ' ' >order
[ "$(cat order)" = "response problem " ] || fail "order of a response and its problem: $(cat order)"

# Text.
status 0 decode sample.log
says out "1700000000.123456 can0 7E8 < 01 Engine speed 1726.0 rpm; Engine coolant temperature 83 °C"
says out "stored codes: P0143"
says out "x 01 refused: subfunction not supported (12)"
says out "! message-cut: the message ends inside 41: 2 bytes are left (line 14)"
says out "Vehicle identification number 1G4AH59H45G118341"
status 0 decode --bytes sample.log
says out "[41 0C 1A F8 05 7B]"

# Identifiers that are not those of ISO 15765-4.
sed 's/7DF#/6F0#/; s/7E8#/6F8#/' sample.log >other.log
status 0 decode other.log
grep -q "Engine speed" out && fail "identifiers that nobody named"
for ids in 6F0,6F8 6F0-6FF 6Fx; do
    status 0 decode --ids $ids other.log
    says out "6F8 < 01 Engine speed 1726.0 rpm"
done
printf '(0.0) can0 18EEFF01#04410C1AF8AAAAAA\n' >long-id.log
status 0 decode --ids 18EExx01 long-id.log
says out "18EEFF01 < 01 Engine speed 1726.0 rpm"
printf '(0.0) can0 6F1#1204410C1AF8AAAA\n' >extended.log
status 0 decode --ids 6F1 --addressing extended extended.log
says out "Engine speed 1726.0 rpm"

# The report: the same facts, nothing wider than 80 columns, JSON that another library reads.
status 0 report sample.log
says out "VIN 1G4AH59H45G118341, check digit right"
says out "P0143"
says out "CAUTIONS"
says out "Engine speed"
status 0 report "$source/examples/demo/bad.pcapng"
narrow out || fail "a report wider than 80 columns"
status 0 report --units us "$source/examples/demo/good.pcapng"
says out "°F"

# Plausibility: a coolant sensor at the end of its range, unless the rule is turned off.
printf '(1.0) can0 7E8#03410500\n' >open.log
status 0 report open.log
says out "read the low end of its"
says out "common practice"
status 0 report --as json open.log
says out '"sanity":[{"rule":"end-of-range","ecu":"7E8","id":"05"'
for skip in end-of-range all voltage,end-of-range; do
    status 0 report --skip $skip open.log
    grep -q "end of its range" out && fail "--skip $skip"
done
status 2 report --skip nothing open.log

# Recheck: verified is 0, anything else 1; the figures are SAE J1979's.
visit() { # LAMP CODES WARM-UPS KILOMETRES: PID 01, service 03, PIDs 30 and 31
    printf '(1.0) can0 7E8#064101%s\n(2.0) can0 7E8#%s\n(3.0) can0 7E8#024700\n' "$1" "$2"
    printf '(4.0) can0 7E8#034130%s\n(5.0) can0 7E8#044131%s\n' "$3" "$4"
}
visit 81076500 0443010420 5A 0BB8 >before.log
visit 00076500 024300 14 01F4 >held.log
visit 00076565 024300 00 0004 >cleared.log
visit 81076500 0443010420 14 01F4 >back.log
status 0 recheck before.log held.log
says out "REPAIR VERIFIED"
status 1 recheck before.log cleared.log
says out "NOT YET"
says out "merely cleared"
says out "Commonly runs with"
narrow out || fail "a recheck wider than 80 columns"
status 1 recheck --as json before.log back.log
says out '{"verdict":"failed","reason":"P0420 is stored again."'
status 2 recheck before.log missing.log
status 2 recheck before.log
status 2 recheck --allow many before.log held.log
"$program" recheck before.log - <held.log >out 2>err || fail "recheck with standard input"
for as in text json; do
    "$program" recheck --as $as --units us before.log cleared.log >one 2>/dev/null
    "$program" recheck --as $as --units us before.log cleared.log >two 2>/dev/null
    cmp one two || fail "recheck is not the same twice"
done
says one '"distance_unit":"[mi_i]"'

# The catalogue.
status 0 catalogue --as csv
says out 'pid,01,0C,2,"Engine speed","Engine speed",RPM,A-B,number,no,"raw / 4",0,16383.75,/min,'
awk -F'"' '{ gsub(/"[^"]*"/, "x"); if (split($0, cells, ",") != 24) { print; bad = 1 } }
    END { exit bad }' out || fail "columns of the catalogue"
status 0 catalogue
narrow out || fail "a catalogue wider than 80 columns"
says out "On what the rows rest"

# Every problem word and every unit that the program can print stands in the contract.
contract=$source/examples/telltale/CONTRACT.md
"$program" catalogue --as json | tr ',' '\n' | sed -n 's/^"unit":"\(.*\)"$/\1/p' | sort -u >units
[ -s units ] || fail "no units in the catalogue"
while IFS= read -r unit; do
    says "$contract" "| \`$unit\` |"
done <units
sed -n '/^enum class ProblemCode/,/^};/s/^ *\([a-z_]*\),.*/\1/p' \
    "$source/lib/include/telltale/base/problem.hpp" | tr '_' '-' | grep -v '^none$' >words
[ -s words ] || fail "no problem words"
while IFS= read -r word; do
    says "$contract" "| \`$word\` |"
done <words

finish
