#!/bin/sh
# SPDX-License-Identifier: Apache-2.0
# run.sh TELLTALE SOURCE SCRATCH: parameters and codes beside the standard's in each command. The
# maker and its parameters are invented (examples/maker).
set -eu
telltale=$1
maker=$2/examples/maker/harrow.csv
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
    [ "$got" = "$wanted" ] || { cat out err >&2; fail "status $got, not $wanted: $*"; }
}

# The expected values are worked out by hand from the rows of harrow.csv.
: >drive.log
for second in 0 1 2 3 4 5 6 7 8 9; do
    cat >>drive.log <<END
($second.000000) can0 7E0#0322110100000000
($second.010000) can0 7E8#076211010FA08202
($second.100000) can0 7E0#0322110200000000
($second.110000) can0 7E8#056211020064AAAA
($second.200000) can0 7E1#022101AAAAAAAAAA
($second.210000) can0 7E9#05610164FFF8AAAA
($second.300000) can0 7DF#0201FD0000000000
($second.310000) can0 7E8#0341FD01AAAAAAAA
($second.400000) can0 7DF#02010C0000000000
($second.410000) can0 7E8#04410C1AF8AAAAAA
END
done
cat >>drive.log <<END
(10.000000) can0 7DF#0103000000000000
(10.010000) can0 7E8#0443011234AAAAAA
END

# Without the file nothing is known of them; with it all is.
status 0 decode drive.log
has out "unknown-service"
has out "unknown-id"
status 0 decode --with "$maker" drive.log
has out "Engine oil pressure 400.0 kPa; Engine oil temperature 90 °C; Oil pump stage high"
has out "Injected volume 12.5 mm3/stroke"
has out "Gearbox oil temperature 60 °C; Converter slip -2.0 rpm"
has out "Load door state open"
has out "Lubrication (1101)"
! grep -q '!' out || fail "problems in what the file describes"
status 0 decode --with "$maker" --as jsonl drive.log
has out '{"id":"1102","name":"Injected volume","short":"INJVOL","value":12.5,"unit":"{mm3/stroke}","text":null}'
status 0 decode --with "$maker" --as csv drive.log
has out '7E9,response,21,01,"Converter slip",-2,/min,'

# Named like the standard's own.
status 0 decode --with "$maker" --only OILTEMP,21:01,RPM --as csv drive.log
[ "$(cut -d, -f7 out | sort -u | tr '\n' ';')" = \
    '"Converter slip";"Engine oil temperature";"Engine speed";"Gearbox oil temperature";name;' ] ||
    { cat out >&2; fail "--only with names of one's own"; }
status 0 table --with "$maker" --only 22:1101,GBXSLIP --every 1 drive.log
[ "$(sed -n 1p out)" = 'time,"can0 7E8 OILP (kPa)","can0 7E8 OILTEMP (°C)","can0 7E8 OILPSTG","can0 7E9 GBXSLIP (rpm)"' ] ||
    { cat out >&2; fail "heading of the table"; }
has out "2.000000,400,90,high,"
# The identifier 01 of service 21 is not PID 01.
status 0 table --with "$maker" --only 01 drive.log
has err "none of the signals asked for"

status 0 report --with "$maker" drive.log
has out "Oil pump does not reach its stage"
has out "Injected volume"
has out "Injected volume (mm3/stroke)"
status 0 report --with "$maker" --as json drive.log
has out '"group":"powertrain: fuel and air metering","text":"Oil pump does not reach its stage"}'
has out '"service":"21","id":"01","name":"Converter slip","short":"GBXSLIP"'
status 0 contrast --with "$maker" --as json drive.log drive.log
has out '"name":"Injected volume","short":"INJVOL","unit":"{mm3/stroke}"'

# Listed, and what is listed can be read again.
status 0 catalogue --with "$maker"
has out "Local identifiers of service 21"
has out "P1234-1C"
status 0 catalogue --with "$maker" --as json
has out '"table":"data-id","service":"22","id":"1101","ecu":"7E8"'
status 0 catalogue --with "$maker" --as csv
cp out once.csv
status 0 catalogue --with once.csv --as csv
cmp once.csv out || fail "a catalogue that is read again is another"

# Faults: each with its file and line, and nothing is done.
cat >bad.csv <<'END'
table,id,length,row,field,short,bytes,kind,scaling,unit
data-id,1101,1,Mine,Mine,,B,number,raw ^ 2,psi
pid,0C,2,Mine,,,,,,
END
status 2 decode --with bad.csv drive.log
[ ! -s out ] || fail "something was done all the same"
has err "bad.csv:2: the field ends behind the 1 bytes"
has err "bad.csv:2: the scaling is"
has err "bad.csv:2: no unit has the UCUM code 'psi'"
has err "bad.csv:3: PID 0C is the standard's"
status 2 table --with "$maker" --with "$maker" drive.log
has err "$maker:5: identifier 1101 was described from $maker:5 on already"
status 2 report --with nowhere.csv drive.log
has err "nowhere.csv"
printf 'table,id,row\ncode,P1234,\033[31m\n' >hostile.csv
status 2 catalogue --with hostile.csv
! grep -q "$(printf '\033')" err || fail "a control character reached the terminal"
