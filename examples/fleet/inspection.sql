-- SPDX-License-Identifier: Apache-2.0
-- Which monitors are incomplete at the latest visit: those vans are to be driven before they go to
-- an inspection.
select v.vin, v.day, m.ecu, m.name
from latest v join monitor m on m.visit = v.id
where m.complete = 0
order by v.vin, m.ecu, m.name;
