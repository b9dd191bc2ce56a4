-- Findings of a verifier: what was raised on which record, figure or period, and the
-- dialogue about it. Who said what and when stands in the trail entry of each line.

create table finding (
    programme_id uuid not null references programme,
    -- Counted from 1 in each programme: people say F-001.
    number       bigint not null constraint finding_number check (number > 0),
    class        text not null constraint finding_class check (class in
        ('corrective_action_request', 'clarification_request', 'forward_action_request')),
    subject_kind text not null constraint finding_subject_kind check (subject_kind in
        ('period', 'statement', 'figure', 'node', 'row', 'batch', 'factor', 'methodology',
         'household', 'deployment', 'round')),
    subject_key  text not null,
    -- The statement that the subject is, or is a part of.
    statement_id uuid,
    -- The batch that brought the subject.
    batch_id     uuid,
    -- The period of the subject, else the one that the verifier named.
    period_code  text,
    -- What it is held against, e.g. a clause.
    requirement  text,
    sequence     bigint not null,
    primary key (programme_id, number),
    foreign key (programme_id, statement_id) references statement,
    foreign key (programme_id, batch_id) references batch,
    foreign key (programme_id, period_code) references monitoring_period
);

create table finding_entry (
    programme_id uuid not null,
    sequence     bigint not null,
    number       bigint not null,
    act          text not null constraint finding_entry_act check (act in
        ('opened', 'answered', 'commented', 'closed', 'reopened')),
    body         text not null,
    primary key (programme_id, sequence),
    foreign key (programme_id, sequence) references trail_entry,
    foreign key (programme_id, number) references finding
);
create index finding_entry_by_number on finding_entry (programme_id, number, sequence);

-- A file that a line speaks of, known by its hash whether or not its bytes are kept here.
create table finding_attachment (
    programme_id uuid not null,
    sequence     bigint not null,
    place        integer not null,
    sha256       bytea not null constraint finding_attachment_hash check (octet_length(sha256) = 32),
    file_name    text not null,
    media_type   text not null,
    size_bytes   bigint not null constraint finding_attachment_size check (size_bytes >= 0),
    primary key (programme_id, sequence, place),
    foreign key (programme_id, sequence) references finding_entry
);

-- The bytes of an attachment, kept once however often it is named.
create table attachment_content (
    programme_id uuid not null references programme,
    sha256       bytea not null,
    content      bytea not null
                 constraint attachment_content_hash check (sha256(content) = sha256)
                 constraint attachment_content_size check (octet_length(content) <= 8388608),
    primary key (programme_id, sha256)
);

do $$
declare
    t text;
begin
    foreach t in array array['finding', 'finding_entry', 'finding_attachment', 'attachment_content'] loop
        execute format('create trigger append_only before update or delete or truncate on %I
                        for each statement execute function refuse_change()', t);
    end loop;
end
$$;

select wall_off('finding');
select wall_off('finding_entry');
select wall_off('finding_attachment');
select wall_off('attachment_content');
