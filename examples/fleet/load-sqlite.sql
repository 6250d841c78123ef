-- SPDX-License-Identifier: Apache-2.0
-- From the lines of `telltale report --as json` in the table `report` to the tables of a shop. Files
-- that are there already are passed over.
begin;
insert into visit (id, file, vin, started, day)
    select coalesce((select max(id) from visit), 0) + row_number() over (order by line ->> '$.file'),
           line ->> '$.file', line ->> '$.vin.text', line ->> '$.start',
           date(line ->> '$.start', 'unixepoch')
    from report where (line ->> '$.file') not in (select file from visit);

create temp table fresh as
    select v.id as visit, e.value as ecu
    from visit v join report r on r.line ->> '$.file' = v.file, json_each(r.line, '$.ecus') e
    where v.id not in (select visit from ecu);

insert into ecu
    select visit, coalesce(ecu ->> '$.id', ''), ecu ->> '$.mil.on' from fresh;
-- The two arrays of a list, codes and meanings, have the same order.
insert into code
    select visit, coalesce(f.ecu ->> '$.id', ''), l.key, d.value, m.value ->> '$.text'
    from fresh f, json_each(f.ecu, '$.codes') l, json_each(l.value, '$.dtcs') d
    left join json_each(l.value, '$.meanings') m on m.key = d.key
    where l.type = 'object';
insert into monitor
    select visit, coalesce(f.ecu ->> '$.id', ''), m.value ->> '$.name', m.value ->> '$.complete'
    from fresh f, json_each(f.ecu, '$.readiness.since_clear.monitors') m;
insert into reading
    select visit, coalesce(f.ecu ->> '$.id', ''), v.value ->> '$.service', v.value ->> '$.id',
           v.value ->> '$.name', v.value ->> '$.short', v.value ->> '$.unit',
           v.value ->> '$.count', v.value ->> '$.min', v.value ->> '$.mean', v.value ->> '$.max'
    from fresh f, json_each(f.ecu, '$.values') v
    where (v.value ->> '$.mean') is not null;
drop table fresh;
drop table report;
commit;
