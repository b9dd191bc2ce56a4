-- The very files that batches came in, kept by the hash that the batch's trail entry names.

-- Kept once in a programme, however many batches came in it.
create table uploaded_file (
    programme_id uuid not null references programme,
    sha256       bytea not null constraint uploaded_file_hash check (octet_length(sha256) = 32),
    size_bytes   bigint not null constraint uploaded_file_size check (size_bytes > 0),
    primary key (programme_id, sha256)
);

-- Its bytes, in parts that are read and written one at a time: all but the last are full.
create table uploaded_file_part (
    programme_id uuid not null,
    sha256       bytea not null,
    place        integer not null constraint uploaded_file_part_place check (place >= 0),
    content      bytea not null
                 constraint uploaded_file_part_size check (octet_length(content) between 1 and 1048576),
    primary key (programme_id, sha256, place),
    foreign key (programme_id, sha256) references uploaded_file
);
-- Packing would cost every upload more than the disk is worth.
alter table uploaded_file_part alter column content set storage external;

-- False for batches from before files were kept, and for rows that came in no file.
alter table batch add column file_kept boolean not null default false;

do $$
declare
    t text;
begin
    foreach t in array array['uploaded_file', 'uploaded_file_part'] loop
        execute format('create trigger append_only before update or delete or truncate on %I
                        for each statement execute function refuse_change()', t);
    end loop;
end
$$;

select wall_off('uploaded_file');
select wall_off('uploaded_file_part');
