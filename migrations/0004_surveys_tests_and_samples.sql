-- Further evidence of the field and of laboratories: what households burnt before the
-- programme, controlled cooking tests, stove tests, char samples and moisture readings.

alter table round drop constraint round_kind;
alter table round add constraint round_kind check (kind in
    ('usage_survey', 'kitchen_baseline', 'kitchen_project', 'char_weighing',
     'baseline_survey', 'cooking_test', 'stove_test', 'char_lab', 'moisture'));

create table baseline_survey_answer (
    programme_id        uuid not null,
    round_code          text not null,
    household_code      text not null,
    surveyed_on         date not null,
    device              text not null,
    fuel                text not null,
    fuel_wet_kg_per_day numeric not null,
    moisture_wb         numeric not null,
    children_0_14       integer not null,
    women_over_14       integer not null,
    men_15_59           integer not null,
    men_over_59         integer not null,
    batch_id            uuid not null,
    line                bigint not null,
    sequence            bigint not null,
    row_hash            bytea not null,
    primary key (programme_id, batch_id, line),
    constraint baseline_survey_answer_taken
        unique (programme_id, household_code, surveyed_on, device, fuel),
    constraint baseline_survey_answer_moisture check (moisture_wb between 0 and 0.8),
    foreign key (programme_id, batch_id) references batch,
    foreign key (programme_id, household_code) references household (programme_id, household_code)
);

create table cooking_test (
    programme_id     uuid not null,
    round_code       text not null,
    test_code        text not null,
    cook_code        text not null,
    tested_on        date not null,
    device           text not null,
    dish             text not null,
    fuel             text not null,
    fuel_wet_kg      numeric not null,
    moisture_wb      numeric not null,
    char_left_dry_kg numeric not null,
    food_kg          numeric not null,
    minutes          numeric,
    batch_id         uuid not null,
    line             bigint not null,
    sequence         bigint not null,
    row_hash         bytea not null,
    primary key (programme_id, batch_id, line),
    constraint cooking_test_taken unique (programme_id, test_code),
    constraint cooking_test_moisture check (moisture_wb between 0 and 0.8),
    foreign key (programme_id, batch_id) references batch
);

create table stove_test (
    programme_id           uuid not null,
    round_code             text not null,
    test_code              text not null,
    laboratory             text not null,
    tested_on              date not null,
    device                 text not null,
    stove_age_years        integer not null,
    fuel                   text not null,
    fuel_wet_kg            numeric not null,
    moisture_wb            numeric not null,
    fuel_ncv_dry_mj_per_kg numeric not null,
    char_left_dry_kg       numeric not null,
    char_ncv_mj_per_kg     numeric not null,
    water_start_kg         numeric not null,
    water_end_kg           numeric not null,
    water_start_c          numeric not null,
    water_end_c            numeric not null,
    minutes                numeric not null,
    co_g                   numeric,
    pm25_mg                numeric,
    batch_id               uuid not null,
    line                   bigint not null,
    sequence               bigint not null,
    row_hash               bytea not null,
    primary key (programme_id, batch_id, line),
    constraint stove_test_taken unique (programme_id, test_code),
    constraint stove_test_moisture check (moisture_wb between 0 and 0.8),
    constraint stove_test_water check (water_end_kg <= water_start_kg),
    foreign key (programme_id, batch_id) references batch
);

create table char_lab_result (
    programme_id     uuid not null,
    round_code       text not null,
    sample_code      text not null,
    laboratory       text not null,
    sampled_on       date not null,
    feedstock        text not null,
    carbon_total     numeric not null,
    carbon_inorganic numeric not null,
    hydrogen         numeric not null,
    ash              numeric,
    batch_id         uuid not null,
    line             bigint not null,
    sequence         bigint not null,
    row_hash         bytea not null,
    primary key (programme_id, batch_id, line),
    constraint char_lab_result_taken unique (programme_id, sample_code),
    constraint char_lab_result_parts
        check (carbon_inorganic <= carbon_total and carbon_total + hydrogen <= 1),
    foreign key (programme_id, batch_id) references batch
);

create table moisture_reading (
    programme_id   uuid not null,
    round_code     text not null,
    household_code text not null,
    measured_on    date not null,
    fuel           text not null,
    moisture_wb    numeric not null,
    batch_id       uuid not null,
    line           bigint not null,
    sequence       bigint not null,
    row_hash       bytea not null,
    primary key (programme_id, batch_id, line),
    constraint moisture_reading_taken unique (programme_id, household_code, measured_on, fuel),
    constraint moisture_reading_moisture check (moisture_wb between 0 and 0.8),
    foreign key (programme_id, batch_id) references batch,
    foreign key (programme_id, household_code) references household (programme_id, household_code)
);

do $$
declare
    t text;
begin
    foreach t in array array['baseline_survey_answer', 'cooking_test', 'stove_test',
                             'char_lab_result', 'moisture_reading'] loop
        execute format('create trigger append_only before update or delete or truncate on %I
                        for each statement execute function refuse_change()', t);
    end loop;
end
$$;
