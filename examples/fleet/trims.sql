-- SPDX-License-Identifier: Apache-2.0
-- Which fuel trims drift: short and long-term trim of a bank together, first visit against latest,
-- those that moved by more than 3 %.
with trim_of as (
    select v.vin, v.started, v.day, r.ecu, substr(r.short, 7, 1) as bank, sum(r.mean) as total
    from visit v join reading r on r.visit = v.id
    where r.short in ('SHRTFT1', 'LONGFT1', 'SHRTFT2', 'LONGFT2')
    group by v.vin, v.started, v.day, r.ecu, substr(r.short, 7, 1)
), ends as (
    select vin, ecu, bank, min(started) as first, max(started) as last, count(*) as visits
    from trim_of group by vin, ecu, bank
)
select e.vin, e.ecu, e.bank, e.visits, a.day as first_day, b.day as last_day,
       round(cast(a.total as numeric), 1) as first_percent,
       round(cast(b.total as numeric), 1) as last_percent,
       round(cast(b.total - a.total as numeric), 1) as moved
from ends e
join trim_of a on a.vin = e.vin and a.ecu = e.ecu and a.bank = e.bank and a.started = e.first
join trim_of b on b.vin = e.vin and b.ecu = e.ecu and b.bank = e.bank and b.started = e.last
where abs(b.total - a.total) > 3
order by abs(b.total - a.total) desc, e.vin;
