-- What the crossings of a trace are foreseen from, beyond what the map draws.
--
-- A terrain that was loaded before has none of this until it is loaded again: widths are then taken from the class, and no
-- level crossing is known.

alter table terrain_line
    -- As tagged, in metres.
    add column width_m real,
    add column lanes smallint,
    -- Traffic goes the way the line is drawn, as on each half of a dual carriageway.
    add column one_way boolean not null default false,
    -- Of a power line: the highest.
    add column voltage_v integer,
    add constraint terrain_line_width_bounded check (width_m > 0 and width_m <= 2000);
-- Whether a place lies at sea is told by the side of the nearest shore that it is on.
create index terrain_line_coast on terrain_line using gist (ground) where kind = 'coast';

-- Single nodes that matter where a trace passes: swapped by a load as the other tables are.
create table terrain_spot (
    node_id bigint not null,
    kind text not null,
    ground geometry(point, 4326) not null,
    constraint terrain_spot_pkey primary key (node_id),
    constraint terrain_spot_kind_known check (kind in ('level_crossing', 'foot_crossing', 'ford'))
);
create index terrain_spot_ground on terrain_spot using gist (ground);

-- What a unit itself has seen on the ground and no map has. A load leaves it as it is.
create table terrain_own (
    id bigint generated always as identity,
    kind text not null,
    name text,
    width_m real,
    hard_surface boolean,
    voltage_v integer,
    note text,
    -- The file it came from, without its folder.
    file_name text not null,
    added_at timestamptz not null default transaction_timestamp(),
    ground geometry(geometry, 4326) not null,
    constraint terrain_own_pkey primary key (id),
    constraint terrain_own_kind_known check (kind in (
        'main_highway', 'road', 'dirt_road', 'path', 'railway', 'stream', 'power_line', 'culvert', 'bridge', 'closed_way',
        'water', 'wood', 'soft_ground'
    )),
    constraint terrain_own_width_bounded check (width_m > 0 and width_m <= 2000),
    constraint terrain_own_shape_known check (
        geometrytype(ground) in ('POINT', 'LINESTRING', 'POLYGON', 'MULTIPOLYGON')
    )
);
create index terrain_own_ground on terrain_own using gist (ground);
