-- Heights of the ground, from grids that a unit loads itself: HGT tiles and GeoTIFF. They are optional: where no grid has a
-- height it is unknown, and never zero. Shared by every operation of the database, as the terrain is.
--
-- A grid is kept in blocks, so that a trace reads what lies about it and no more. Neighbouring blocks share their outermost
-- posts: between any two posts of a grid some block knows both, and no seam is left between blocks.
-- A load takes the old grid of the same name out and puts the new one in, in one transaction: readers see one or the other.

create table elevation_grid (
    id bigint generated always as identity,
    name text not null,
    file_name text not null,
    columns integer not null,
    rows integer not null,
    -- The outermost posts, in degrees (WGS 84).
    west double precision not null,
    south double precision not null,
    east double precision not null,
    north double precision not null,
    -- The shorter side of a cell in its middle: where grids overlap the finer one is asked first.
    cell_m double precision not null,
    loaded_at timestamptz not null default transaction_timestamp(),
    constraint elevation_grid_pkey primary key (id),
    constraint elevation_grid_name_key unique (name),
    constraint elevation_grid_name_length check (char_length(name) between 1 and 100),
    constraint elevation_grid_size check (columns >= 2 and rows >= 2),
    constraint elevation_grid_corners check (
        west < east and south < north and west >= -180 and east <= 180 and south >= -90 and north <= 90
    ),
    constraint elevation_grid_cell_positive check (cell_m > 0)
);

create table elevation_block (
    grid bigint not null,
    -- From the north-west, row by row. A block without any known height is not kept.
    part integer not null,
    columns smallint not null,
    rows smallint not null,
    west double precision not null,
    south double precision not null,
    east double precision not null,
    north double precision not null,
    sample text not null,
    -- Rows from the north, each from the west; little endian. Unknown is -32768, or NaN.
    heights bytea not null,
    ground geometry(polygon, 4326) generated always as (st_makeenvelope(west, south, east, north, 4326)) stored,
    constraint elevation_block_pkey primary key (grid, part),
    constraint elevation_block_grid_fkey foreign key (grid) references elevation_grid (id) on delete cascade,
    constraint elevation_block_size check (columns between 2 and 256 and rows between 2 and 256),
    constraint elevation_block_corners check (west < east and south < north),
    constraint elevation_block_sample_known check (sample in ('int16', 'float32')),
    constraint elevation_block_heights_length check (
        octet_length(heights) = columns::integer * rows * case sample when 'int16' then 2 else 4 end
    )
);
-- Heights hardly become smaller by the database's own compression, which takes most of a load's time.
alter table elevation_block alter column heights set storage external;
create index elevation_block_ground on elevation_block using gist (ground);
