-- A line's plans as the chief saved them, so that one can be put beside another and beside what was laid. A plan changes
-- nothing until it is issued: that is a report, and the log has its trace and its crossings.
create table plan (
    operation uuid not null,
    line uuid not null,
    -- From 1, without gaps: given under the lock of the operation's row.
    version smallint not null,
    saved_at timestamptz not null,
    team text not null,
    remark text,
    plan jsonb not null,
    -- As reckoned when it was saved, with the operation's profile.
    figures jsonb not null,
    constraint plan_pkey primary key (operation, line, version),
    constraint plan_line_fkey foreign key (operation, line) references line (operation, id) deferrable initially deferred,
    constraint plan_version_bounded check (version between 1 and 1000)
);

-- Which plan a line's trace is.
alter table line add column plan smallint;
-- Why it is crossed so, where somebody chose otherwise than the rules propose.
alter table crossing add column because text;
