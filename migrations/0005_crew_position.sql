-- Where a crew that shares it was last: one row a pass, written over, and no history. It stands outside the wire log, whose
-- counter takes one writer at a time, and what is in it is forgotten when the time is up that the crew gave.
create table crew_position (
    operation uuid not null,
    pass uuid not null,
    -- Null once the crew has stopped sharing: the row is kept a moment longer, so that switching off and on again is no
    -- way round the bound on how often a pass may write.
    longitude double precision,
    latitude double precision,
    accuracy_m double precision,
    at timestamptz not null,
    until timestamptz not null,
    constraint crew_position_pkey primary key (operation, pass),
    constraint crew_position_pass_fkey foreign key (operation, pass) references pass (operation, id),
    constraint crew_position_whole check ((longitude is null) = (latitude is null))
);
-- A dozen rows that are written over all the time.
alter table crew_position set (fillfactor = 50, autovacuum_vacuum_scale_factor = 0, autovacuum_vacuum_threshold = 200);
