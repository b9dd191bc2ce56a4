-- The register (who has which stove, from when to when) and the evidence of the field.
--
-- sequence is the trail entry that accepted the row: a row is known at trail
-- position p when sequence < p. batch_id and line name the row for its proof.

create table site (
    programme_id uuid not null references programme,
    site_code    text not null,
    name         text not null,
    sequence     bigint not null,
    constraint site_code_taken primary key (programme_id, site_code)
);

create table stove_model (
    programme_id  uuid not null references programme,
    model_code    text not null,
    model_version integer not null,
    name          text not null,
    device        text not null,
    char_making   boolean not null,
    sequence      bigint not null,
    constraint stove_model_taken primary key (programme_id, model_code, model_version)
);

create table round (
    programme_id uuid not null references programme,
    round_code   text not null,
    kind         text not null constraint round_kind check (kind in
                 ('usage_survey', 'kitchen_baseline', 'kitchen_project', 'char_weighing')),
    starts_on    date not null,
    ends_on      date not null,
    design       text not null,
    sequence     bigint not null,
    constraint round_code_taken primary key (programme_id, round_code),
    constraint round_dates check (starts_on < ends_on)
);

create table batch (
    programme_id uuid not null references programme,
    batch_id     uuid not null,
    kind         text not null,
    round_code   text,
    file_name    text,
    file_sha256  bytea not null,
    row_count    bigint not null,
    root         bytea not null,
    sequence     bigint not null,
    primary key (programme_id, batch_id),
    foreign key (programme_id, round_code) references round
);
create index batch_by_sequence on batch (programme_id, sequence);

create table household (
    programme_id   uuid not null,
    household_code text not null,
    site_code      text not null,
    children_0_14  integer not null,
    women_over_14  integer not null,
    men_15_59      integer not null,
    men_over_59    integer not null,
    batch_id       uuid not null,
    line           bigint not null,
    sequence       bigint not null,
    row_hash       bytea not null,
    primary key (programme_id, batch_id, line),
    constraint household_code_taken unique (programme_id, household_code),
    foreign key (programme_id, batch_id) references batch,
    foreign key (programme_id, site_code) references site
);

create table deployment (
    programme_id   uuid not null,
    serial         text not null,
    model_code     text not null,
    model_version  integer not null,
    household_code text not null,
    installed_on   date not null,
    ended_on       date,
    end_reason     text,
    -- Empty means no; kept as it was entered, since the row's hash is over that.
    second_stove   boolean,
    batch_id       uuid not null,
    line           bigint not null,
    sequence       bigint not null,
    row_hash       bytea not null,
    primary key (programme_id, batch_id, line),
    constraint deployment_taken unique (programme_id, serial, installed_on),
    constraint deployment_dates check (ended_on > installed_on),
    foreign key (programme_id, batch_id) references batch,
    foreign key (programme_id, model_code, model_version) references stove_model,
    foreign key (programme_id, household_code) references household (programme_id, household_code)
);
create index deployment_by_household on deployment (programme_id, household_code);

create table deployment_end (
    programme_id uuid not null,
    serial       text not null,
    installed_on date not null,
    ended_on     date not null,
    end_reason   text not null,
    batch_id     uuid not null,
    line         bigint not null,
    sequence     bigint not null,
    row_hash     bytea not null,
    primary key (programme_id, batch_id, line),
    constraint deployment_end_taken unique (programme_id, serial, installed_on),
    constraint deployment_end_dates check (ended_on > installed_on),
    foreign key (programme_id, batch_id) references batch,
    foreign key (programme_id, serial, installed_on) references deployment (programme_id, serial, installed_on)
);

-- Not evidence: where each unit is, derived from the two tables above by the
-- triggers below, so that the database itself refuses overlaps.
create table deployment_span (
    programme_id   uuid not null,
    serial         text not null,
    installed_on   date not null,
    household_code text not null,
    second_stove   boolean not null,
    span           daterange not null,
    primary key (programme_id, serial, installed_on),
    constraint one_household_at_a_time
        exclude using gist (programme_id with =, serial with =, span with &&),
    constraint one_unmarked_stove_at_a_time
        exclude using gist (programme_id with =, household_code with =, span with &&)
        where (not second_stove)
);

create function open_span() returns trigger language plpgsql as $$
begin
    insert into deployment_span
    select programme_id, serial, installed_on, household_code, coalesce(second_stove, false),
           daterange(installed_on, ended_on)
    from added;
    return null;
end
$$;
create trigger open_span after insert on deployment
    referencing new table as added for each statement execute function open_span();

create function close_span() returns trigger language plpgsql as $$
begin
    update deployment_span s
    set span = daterange(s.installed_on, a.ended_on)
    from added a
    where (s.programme_id, s.serial, s.installed_on) = (a.programme_id, a.serial, a.installed_on);
    return null;
end
$$;
create trigger close_span after insert on deployment_end
    referencing new table as added for each statement execute function close_span();

create table usage_answer (
    programme_id        uuid not null,
    round_code          text not null,
    household_code      text not null,
    serial              text not null,
    surveyed_on         date not null,
    outcome             text not null,
    days_used_last_week integer,
    share_of_meals      numeric,
    batch_id            uuid not null,
    line                bigint not null,
    sequence            bigint not null,
    row_hash            bytea not null,
    primary key (programme_id, batch_id, line),
    constraint usage_answer_taken unique (programme_id, round_code, serial),
    foreign key (programme_id, batch_id) references batch,
    foreign key (programme_id, household_code) references household (programme_id, household_code)
);
create index usage_answer_by_date on usage_answer (programme_id, surveyed_on);

create table kitchen_day (
    programme_id       uuid not null,
    round_code         text not null,
    household_code     text not null,
    measured_on        date not null,
    device             text not null,
    fuel               text not null,
    stock_start_wet_kg numeric not null,
    added_wet_kg       numeric not null,
    stock_end_wet_kg   numeric not null,
    moisture_wb        numeric not null,
    children_0_14      integer not null,
    women_over_14      integer not null,
    men_15_59          integer not null,
    men_over_59        integer not null,
    batch_id           uuid not null,
    line               bigint not null,
    sequence           bigint not null,
    row_hash           bytea not null,
    primary key (programme_id, batch_id, line),
    constraint kitchen_day_taken
        unique (programme_id, round_code, household_code, measured_on, device, fuel),
    constraint kitchen_day_moisture check (moisture_wb between 0 and 0.8),
    foreign key (programme_id, batch_id) references batch,
    foreign key (programme_id, household_code) references household (programme_id, household_code)
);

create table char_weighing (
    programme_id      uuid not null,
    round_code        text not null,
    household_code    text not null,
    weighed_on        date not null,
    feedstock         text not null,
    fuel_burnt_wet_kg numeric,
    fuel_moisture_wb  numeric,
    char_wet_kg       numeric not null,
    char_moisture_wb  numeric not null,
    fate              text not null,
    batch_id          uuid not null,
    line              bigint not null,
    sequence          bigint not null,
    row_hash          bytea not null,
    primary key (programme_id, batch_id, line),
    constraint char_weighing_taken unique (programme_id, round_code, row_hash),
    constraint char_weighing_moisture check (char_moisture_wb between 0 and 0.8),
    foreign key (programme_id, batch_id) references batch,
    foreign key (programme_id, household_code) references household (programme_id, household_code)
);
create index char_weighing_by_date on char_weighing (programme_id, weighed_on);

do $$
declare
    t text;
begin
    foreach t in array array['site', 'stove_model', 'round', 'batch', 'household', 'deployment',
                             'deployment_end', 'usage_answer', 'kitchen_day', 'char_weighing'] loop
        execute format('create trigger append_only before update or delete or truncate on %I
                        for each statement execute function refuse_change()', t);
    end loop;
end
$$;
