-- The ground that lines are laid over: what an OpenStreetMap extract tells of roads, railways, water,
-- power lines, woods and places. One terrain per database, shared by every operation in it.
--
-- A load never writes to these tables. It fills tables of the same shape beside them and swaps the names in one
-- transaction, so readers see the old terrain or the new one and nothing between. Indexes and primary keys are
-- therefore stated twice, here and in the loading code; a test compares what the two leave behind.
-- A query that reads several of these tables names them in alphabetical order, the order in which the swap
-- locks them: then the two cannot lock each other out. It reads at the usual isolation (read committed): to a
-- snapshot older than the swap the new tables are empty.
--
-- `ground` is the position as it was mapped (WGS 84); `shape` is the same in the map's projection, stored because
-- every tile needs it. `from_zoom` is the zoom from which a thing is drawn.

create table terrain_extract (
    id bigint generated always as identity,
    file_name text not null,
    sha256 text not null,
    loaded_at timestamptz not null default transaction_timestamp(),
    -- When the map itself was taken, where the extract says so.
    mapped_at timestamptz,
    attribution text not null,
    -- The box of its roads and paths. An extract holds ferry lanes far out to sea: a view fitted to everything
    -- would show little land.
    land geometry(polygon, 4326) not null,
    constraint terrain_extract_pkey primary key (id),
    constraint terrain_extract_sha256_form check (sha256 ~ '^[0-9a-f]{64}$')
);

-- Part counts the stretches of a way of which the extract lacks some nodes: they are stored apart, never joined
-- across the gap. One way can be two kinds, as a street with a tramway is.
create table terrain_line (
    way_id bigint not null,
    kind text not null,
    part smallint not null,
    class text not null,
    structure text,
    name text,
    ref text,
    surface text,
    layer smallint,
    from_zoom smallint not null,
    ground geometry(linestring, 4326) not null,
    shape geometry(linestring, 3857) generated always as (st_transform(ground, 3857)) stored,
    constraint terrain_line_pkey primary key (way_id, kind, part),
    constraint terrain_line_kind_known check (
        kind in ('main_highway', 'road', 'dirt_road', 'path', 'railway', 'stream', 'power_line', 'coast')
    ),
    constraint terrain_line_structure_known check (structure in ('bridge', 'culvert', 'tunnel'))
);
create index terrain_line_shape on terrain_line using gist (shape);
create index terrain_line_ground on terrain_line using gist (ground);

create table terrain_area (
    -- Ways and relations are numbered apart.
    element text not null,
    element_id bigint not null,
    kind text not null,
    class text not null,
    name text,
    from_zoom smallint not null,
    ground geometry(multipolygon, 4326) not null,
    shape geometry(multipolygon, 3857) generated always as (st_transform(ground, 3857)) stored,
    constraint terrain_area_pkey primary key (element, element_id),
    constraint terrain_area_element_known check (element in ('way', 'relation')),
    constraint terrain_area_kind_known check (kind in ('water', 'wood'))
);
create index terrain_area_shape on terrain_area using gist (shape);
create index terrain_area_ground on terrain_area using gist (ground);

create table terrain_place (
    node_id bigint not null,
    kind text not null,
    name text not null,
    -- 1 is a city, 5 a locality: the greater place keeps its label where two would overlap.
    rank smallint not null,
    from_zoom smallint not null,
    ground geometry(point, 4326) not null,
    shape geometry(point, 3857) generated always as (st_transform(ground, 3857)) stored,
    constraint terrain_place_pkey primary key (node_id),
    constraint terrain_place_kind_known check (kind in ('city', 'town', 'village', 'hamlet', 'locality'))
);
create index terrain_place_shape on terrain_place using gist (shape);
