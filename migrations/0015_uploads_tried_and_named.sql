-- An upload may be tried without keeping anything of it, and read by the programme's own column
-- names.
alter table upload
    add column dry_run boolean not null default false,
    add column mapping text;
