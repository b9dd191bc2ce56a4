-- A programme's own column names, and refused files that wait to be fetched.

-- Each saving is a row: the one with the highest sequence holds.
create table column_mapping (
    programme_id uuid not null references programme,
    kind         text not null,
    name         text not null constraint column_mapping_name check (name ~ '^[A-Za-z0-9._-]{1,64}$'),
    -- JSON object from the programme's name of a column to the template's.
    columns      text not null,
    sequence     bigint not null,
    saved_at     timestamptz not null,
    primary key (programme_id, kind, name, sequence)
);
create trigger append_only before update or delete or truncate on column_mapping
    for each statement execute function refuse_change();
select wall_off('column_mapping');

-- A refused file with its faults beside the rows; deleted once it has expired.
create table rejected_file (
    programme_id uuid not null references programme,
    file_id      uuid not null,
    -- Token or person that sent it.
    holder_id    uuid not null,
    media_type   text not null,
    file_name    text not null,
    body         bytea not null,
    made_at      timestamptz not null,
    expires_at   timestamptz not null,
    primary key (programme_id, file_id)
);
select wall_off('rejected_file');
