-- SPDX-License-Identifier: Apache-2.0
-- What a shop keeps of each visit. The same for SQLite and PostgreSQL.
create table if not exists visit (
    id      integer primary key,
    file    text not null unique,
    vin     text,
    started double precision,   -- seconds since 1970, as the dump has it
    day     text                -- the same as a date (UTC)
);
create table if not exists ecu (
    visit integer not null references visit (id),
    ecu   text not null,
    mil   integer               -- 1: the lamp is on; null: not told
);
create table if not exists code (
    visit   integer not null references visit (id),
    ecu     text not null,
    list    text not null,      -- stored, pending, permanent
    dtc     text not null,
    meaning text
);
create table if not exists monitor (
    visit    integer not null references visit (id),
    ecu      text not null,
    name     text not null,
    complete integer not null
);
create table if not exists reading (
    visit   integer not null references visit (id),
    ecu     text not null,
    service text not null,
    id      text not null,
    name    text not null,
    short   text,
    unit    text,
    samples integer not null,
    low     double precision,
    mean    double precision,
    high    double precision
);
drop view if exists latest;
create view latest as
    select * from visit v
    where started = (select max(w.started) from visit w where w.vin = v.vin);
