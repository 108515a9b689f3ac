-- Devices that were out of reach for hours come back with what they did.

-- A report keeps the time that its device showed; this is how far that clock was ahead, where the device could measure it.
-- It also says who made it, where the command post sends for a team whose own device could not.
alter table wire_log add column clock_offset_ms bigint;
alter table wire_log add column made_by_party text;
alter table wire_log add column made_by_team text;
alter table wire_log add constraint wire_log_made_by_whole check ((made_by_party is null) = (made_by_team is null));

-- What was told of a crossing by teams that did not know of each other, so that the page can say that there are two.
alter table crossing add column conflicts jsonb not null default '[]';
