-- Two gaps that the first schema left.

-- The row trigger hears of no truncate.
create trigger wire_log_not_truncated before truncate on wire_log
    for each statement execute function wire_log_is_append_only();

-- In one batch a number can pass from one line to another; only what stands at the end of it has to be unique.
alter table line drop constraint line_designation_key;
alter table line add constraint line_designation_key unique (operation, designation) deferrable initially deferred;
