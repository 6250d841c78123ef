-- SPDX-License-Identifier: Apache-2.0
-- From the lines of `telltale report --as json` in the table `report` to the tables of a shop. Files
-- that are there already are passed over. As load-sqlite.sql, with PostgreSQL's functions for JSON.
begin;
insert into visit (id, file, vin, started, day)
    select coalesce((select max(id) from visit), 0) + row_number() over (order by line ->> 'file'),
           line ->> 'file', line -> 'vin' ->> 'text', (line ->> 'start')::double precision,
           to_char(to_timestamp((line ->> 'start')::double precision) at time zone 'UTC',
                   'YYYY-MM-DD')
    from report where (line ->> 'file') not in (select file from visit);

create temp table fresh as
    select v.id as visit, e.value as ecu
    from visit v join report r on r.line ->> 'file' = v.file,
         jsonb_array_elements(r.line -> 'ecus') e
    where v.id not in (select visit from ecu);

insert into ecu
    select visit, coalesce(ecu ->> 'id', ''), (ecu -> 'mil' ->> 'on')::boolean::integer from fresh;
-- The two arrays of a list, codes and meanings, have the same order.
insert into code
    select visit, coalesce(f.ecu ->> 'id', ''), l.key, d.dtc, m.meaning ->> 'text'
    from fresh f cross join jsonb_each(f.ecu -> 'codes') l
    cross join lateral jsonb_array_elements_text(l.value -> 'dtcs') with ordinality d (dtc, place)
    left join lateral jsonb_array_elements(l.value -> 'meanings') with ordinality
        m (meaning, place) on m.place = d.place
    where jsonb_typeof(l.value) = 'object';
insert into monitor
    select visit, coalesce(f.ecu ->> 'id', ''), m ->> 'name', (m ->> 'complete')::boolean::integer
    from fresh f, jsonb_path_query(f.ecu, '$.readiness.since_clear.monitors[*]') m;
insert into reading
    select visit, coalesce(f.ecu ->> 'id', ''), v ->> 'service', v ->> 'id', v ->> 'name',
           v ->> 'short', v ->> 'unit', (v ->> 'count')::integer,
           (v ->> 'min')::double precision, (v ->> 'mean')::double precision,
           (v ->> 'max')::double precision
    from fresh f, jsonb_path_query(f.ecu, '$.values[*]') v
    where (v ->> 'mean') is not null;
drop table fresh;
drop table report;
commit;
