-- Which follow-up team the command post gave a crossing to, and its place in that team's round. It holds nobody off: whoever
-- takes the crossing in hand has it.
alter table crossing
    add column given_to text,
    add column given_place smallint,
    add constraint crossing_given_whole check ((given_to is null) = (given_place is null));
