-- Cosignatures of witnesses on checkpoints. The keys of witnesses, and the changes of the
-- log's own key, stand in the trail itself.

create table cosignature (
    programme_id uuid not null,
    size         bigint not null,
    -- C2SP verifier key of the witness, as the trail registered it.
    witness      text not null,
    -- Seconds since 1970, as the witness signed them.
    time         bigint not null constraint cosignature_time check (time >= 0),
    -- The signature line, without its newline.
    line         text not null,
    actor        text not null,
    received_at  timestamptz not null,
    constraint cosigned_already primary key (programme_id, size, witness),
    foreign key (programme_id, size) references checkpoint
);

create trigger append_only before update or delete or truncate on cosignature
    for each statement execute function refuse_change();

select wall_off('cosignature');

-- The trail is asked by kind: for its keys and witnesses, and by those who read its history.
create index trail_entry_by_kind on trail_entry (programme_id, kind, sequence);
