-- What is known of a line beside where it lies: its tests, who watches it, the trouble that is on it, and the time that
-- nobody could speak over it; and how far it is taken up. Lists that are read and written whole with their line, and asked
-- for by nothing else: documents, as reels and splices are.
alter table line add column proving jsonb not null default '{}';
alter table line add column recovery jsonb not null default '{}';
