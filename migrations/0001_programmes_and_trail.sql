-- Programmes, who may do what in them, and the append-only log of all that happened.
--
-- Every key begins with programme_id: row-level security and sharding hang on it.
-- "Append-only" is held here as well as in the program: see refuse_change().

create extension if not exists btree_gist;

create function refuse_change() returns trigger
language plpgsql as $$
begin
    raise exception 'table % is append-only: a correction is a new row', tg_table_name
        using errcode = 'restrict_violation', constraint = 'append_only';
end
$$;

-- The directory of programmes. Its rows are repeated in each programme's trail.
create table programme (
    programme_id uuid primary key,
    code         text not null constraint programme_code_taken unique
                 constraint programme_code_form check (code ~ '^[a-z0-9][a-z0-9-]{1,62}$'),
    name         text not null constraint programme_name_length check (length(name) between 1 and 200),
    created_at   timestamptz not null
);

-- Tokens that may create programmes and nothing else.
create table operator_token (
    token_hash bytea primary key,
    label      text not null,
    created_at timestamptz not null
);

create table access_token (
    programme_id uuid not null references programme,
    token_id     uuid not null,
    token_hash   bytea not null,
    role         text not null constraint access_token_role check (role in ('manager', 'monitor', 'verifier')),
    label        text not null constraint access_token_label_length check (length(label) between 1 and 200),
    created_at   timestamptz not null,
    primary key (programme_id, token_id),
    constraint access_token_hash_taken unique (programme_id, token_hash)
);

-- A browser's sign-in; made from an access token, holds none of its rights longer than it lives.
create table browser_session (
    programme_id uuid not null,
    session_hash bytea not null,
    token_id     uuid not null,
    expires_at   timestamptz not null,
    primary key (programme_id, session_hash),
    foreign key (programme_id, token_id) references access_token
);

-- The one row that a writer locks: it serialises all writes of a programme.
create table trail_head (
    programme_id uuid primary key references programme,
    size         bigint not null,
    last_at      timestamptz not null
);

create table trail_entry (
    programme_id uuid not null references programme,
    sequence     bigint not null,
    kind         text not null,
    subject      text not null,
    actor        text not null,
    at           timestamptz not null,
    reason       text,
    -- The exact bytes that were hashed; they are never made again to be checked.
    leaf         bytea not null,
    leaf_hash    bytea not null,
    content      bytea not null,
    content_hash bytea not null,
    primary key (programme_id, sequence)
);
create index trail_entry_by_subject on trail_entry (programme_id, subject, sequence);

-- Hash of the perfect subtree over leaves index * 2^level .. (index + 1) * 2^level.
create table trail_node (
    programme_id uuid not null references programme,
    level        smallint not null,
    index        bigint not null,
    hash         bytea not null,
    primary key (programme_id, level, index)
);

create table checkpoint (
    programme_id uuid not null references programme,
    size         bigint not null,
    note         text not null,
    primary key (programme_id, size)
);

-- What a repeated POST is answered with.
create table idempotent_answer (
    programme_id uuid not null,
    key          text not null,
    operation    text not null,
    fingerprint  bytea not null,
    body         text not null,
    created_at   timestamptz not null,
    primary key (programme_id, key)
);

create trigger append_only before update or delete or truncate on trail_entry
    for each statement execute function refuse_change();
create trigger append_only before update or delete or truncate on trail_node
    for each statement execute function refuse_change();
create trigger append_only before update or delete or truncate on checkpoint
    for each statement execute function refuse_change();
