-- What a statement is made with, and the statements.
--
-- body is the canonical JSON that the trail committed to.

create table factor (
    programme_id uuid not null references programme,
    code         text not null,
    version      integer not null,
    quantity     text not null,
    body         text not null,
    sequence     bigint not null,
    constraint factor_version_taken primary key (programme_id, code, version)
);

create table methodology (
    programme_id uuid not null references programme,
    code         text not null,
    version      integer not null,
    body         text not null,
    sequence     bigint not null,
    constraint methodology_version_taken primary key (programme_id, code, version)
);

create table monitoring_period (
    programme_id uuid not null references programme,
    period_code  text not null,
    starts_on    date not null,
    ends_on      date not null,
    sequence     bigint not null,
    constraint period_code_taken primary key (programme_id, period_code),
    constraint period_dates check (starts_on < ends_on),
    -- A stove-day belongs to one period: else it could be claimed twice.
    constraint periods_apart
        exclude using gist (programme_id with =, daterange(starts_on, ends_on) with &&)
);

create table period_close (
    programme_id uuid not null,
    period_code  text not null,
    sequence     bigint not null,
    constraint period_closed_already primary key (programme_id, period_code),
    foreign key (programme_id, period_code) references monitoring_period
);

create table statement (
    programme_id        uuid not null references programme,
    statement_id        uuid not null,
    period_code         text not null,
    methodology_code    text not null,
    methodology_version integer not null,
    position            bigint not null,
    -- True where it was read at a position after the period's closing.
    restatement         boolean not null,
    content_hash        bytea not null,
    sequence            bigint not null,
    primary key (programme_id, statement_id),
    foreign key (programme_id, period_code) references monitoring_period,
    foreign key (programme_id, methodology_code, methodology_version) references methodology
);
create index statement_by_period on statement (programme_id, period_code, sequence);

do $$
declare
    t text;
begin
    foreach t in array array['factor', 'methodology', 'monitoring_period', 'period_close', 'statement'] loop
        execute format('create trigger append_only before update or delete or truncate on %I
                        for each statement execute function refuse_change()', t);
    end loop;
end
$$;
