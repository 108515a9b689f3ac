-- Operations, the passes into them, the wire log, and the state that the log adds up to.
--
-- Every table of an operation has a primary key that begins with the operation, and so has every unique or foreign key:
-- an engine that shards by operation can take the schema as it is.

create extension if not exists postgis;
-- The queue's index holds the operation (a uuid) and the position together.
create extension if not exists btree_gist;

create table operation (
    operation uuid not null,
    name text not null,
    opened_at timestamptz not null,
    -- The last number given in the wire log. A counter on this row and not a database sequence: a sequence commits out
    -- of order, and a reader of the log would skip entries.
    sequence bigint not null default 0,
    constraint operation_pkey primary key (operation),
    constraint operation_name_bounded check (length(name) between 1 and 40)
);

-- The secret itself is nowhere: 140 random bits need no slow hash, so its SHA-256 stands here.
create table pass (
    operation uuid not null,
    id uuid not null,
    party text not null,
    team text not null,
    secret_sha256 bytea not null,
    given_at timestamptz not null,
    revoked_at timestamptz,
    constraint pass_pkey primary key (operation, id),
    constraint pass_operation_fkey foreign key (operation) references operation (operation),
    constraint pass_party_known check (party in ('command_post', 'lead_team', 'follow_up_team', 'observer'))
);
-- Not unique, because a unique key would have to begin with the operation, which the secret alone does not tell.
create index pass_secret_idx on pass (secret_sha256);

create table wire_log (
    operation uuid not null,
    sequence bigint not null,
    id uuid not null,
    kind text not null,
    line uuid,
    crossing uuid,
    party text not null,
    team text not null,
    at timestamptz not null,
    received_at timestamptz not null,
    longitude double precision,
    latitude double precision,
    body jsonb not null,
    constraint wire_log_pkey primary key (operation, sequence),
    constraint wire_log_id_key unique (operation, id),
    constraint wire_log_operation_fkey foreign key (operation) references operation (operation)
);
-- A correction reads one line's history.
create index wire_log_line_idx on wire_log (operation, line, sequence);

-- What is written stays written, whoever asks.
create function wire_log_is_append_only() returns trigger language plpgsql as $$
begin
    raise exception 'the wire log is append-only';
end $$;
create trigger wire_log_append_only before update or delete on wire_log
    for each row execute function wire_log_is_append_only();

create table line (
    operation uuid not null,
    id uuid not null,
    designation text not null,
    from_end text not null,
    to_end text not null,
    state text not null,
    planned geography(linestring, 4326),
    -- A line's first position alone is no linestring, so that the laid trace is a plain list of positions.
    laid double precision[] not null default '{}',
    laid_length_m double precision not null default 0,
    team text,
    reels jsonb not null default '[]',
    splices jsonb not null default '[]',
    call_backs jsonb not null default '[]',
    started_at timestamptz,
    through_at timestamptz,
    proved_at timestamptz,
    handed_over_at timestamptz,
    handed_over_to text,
    -- The entry that changed it last: the feed sends what changed after a number.
    changed bigint not null,
    constraint line_pkey primary key (operation, id),
    constraint line_designation_key unique (operation, designation),
    constraint line_operation_fkey foreign key (operation) references operation (operation)
);
create index line_changed_idx on line (operation, changed);

create table crossing (
    operation uuid not null,
    id uuid not null,
    line uuid not null,
    state text not null,
    position geography(point, 4326) not null,
    chainage_m double precision not null,
    obstacle text not null,
    hard_surface boolean not null,
    construction text,
    clearance_m double precision,
    depth_m double precision,
    span_m double precision,
    clear_of_traffic boolean not null,
    wire_in_traffic boolean not null,
    left_undone text[] not null default '{}',
    opened_at timestamptz not null,
    passed_at timestamptz,
    in_hand_team text,
    in_hand_since timestamptz,
    finished_at timestamptz,
    finished_by text,
    proved_at timestamptz,
    struck_out_because text,
    changed bigint not null,
    constraint crossing_pkey primary key (operation, id),
    constraint crossing_line_fkey foreign key (operation, line) references line (operation, id),
    constraint crossing_in_hand_whole check ((in_hand_team is null) = (in_hand_since is null))
);
create index crossing_line_idx on crossing (operation, line, chainage_m);
create index crossing_changed_idx on crossing (operation, changed);
-- The queue: unfinished crossings by distance, and those with wire in traffic by themselves. A query uses a partial index
-- only when its condition stands in it to the letter.
create index crossing_unfinished_idx on crossing using gist (operation, position)
    where state in ('marked', 'passed', 'in_hand');
create index crossing_in_traffic_idx on crossing using gist (operation, position)
    where wire_in_traffic;
-- Every finished crossing leaves a dead entry in the partial indexes, and a nearest-first scan reads them all until they
-- are cleared away: clear early and often.
alter table crossing set (
    autovacuum_vacuum_scale_factor = 0,
    autovacuum_vacuum_threshold = 500,
    autovacuum_analyze_scale_factor = 0.05
);
