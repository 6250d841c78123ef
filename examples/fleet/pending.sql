-- SPDX-License-Identifier: Apache-2.0
-- Which vans have pending codes at their latest visit: a fault that may be on its way.
select v.vin, v.day, c.ecu, c.dtc, c.meaning
from latest v join code c on c.visit = v.id
where c.list = 'pending'
order by v.vin, c.ecu, c.dtc;
