-- Hedges, which wire is led along: out of traffic, out of the plough's way, and hidden. They are no obstacle and are met by no
-- trace; the finder alone reads them. A terrain that was loaded before has none until it is loaded again.

alter table terrain_line
    drop constraint terrain_line_kind_known,
    add constraint terrain_line_kind_known check (
        kind in ('main_highway', 'road', 'dirt_road', 'path', 'railway', 'stream', 'power_line', 'coast', 'hedge')
    );
