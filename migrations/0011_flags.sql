-- Who came and when, where a file tells it; what the screens of a batch raised, and what
-- people said of it.

do $$
declare
    t text;
begin
    foreach t in array array['usage_answer', 'kitchen_day', 'char_weighing', 'baseline_survey_answer',
                             'cooking_test', 'moisture_reading'] loop
        execute format('alter table %I
                            add column enumerator_code text,
                            add column started_at timestamp,
                            add column ended_at timestamp,
                            add constraint %I check (ended_at >= started_at)', t, t || '_visit');
    end loop;
end
$$;

create table flag (
    programme_id uuid not null,
    flag_id      uuid not null,
    -- The trail entry that raised it, and its place among the flags of that entry.
    sequence     bigint not null,
    place        integer not null,
    round_code   text not null,
    -- The batch whose screening raised it.
    batch_id     uuid not null,
    screen       text not null constraint flag_screen check (screen in
        ('duplicate_unit', 'near_twins', 'straight_line', 'digit_heaping', 'pace',
         'beyond_limits', 'extreme_value', 'outside_draw')),
    sentence     text not null,
    -- Rows that it names; the first of them stand in flag_row.
    row_count    integer not null constraint flag_row_count check (row_count > 0),
    primary key (programme_id, flag_id),
    constraint flag_place unique (programme_id, sequence, place),
    foreign key (programme_id, batch_id) references batch
);

-- The rows that a flag names, of its own batch or of earlier ones of the round.
create table flag_row (
    programme_id uuid not null,
    flag_id      uuid not null,
    batch_id     uuid not null,
    line         bigint not null,
    primary key (programme_id, flag_id, batch_id, line),
    foreign key (programme_id, flag_id) references flag,
    foreign key (programme_id, batch_id) references batch
);

-- What a person said of a flag. The last word counts; the earlier ones stay.
create table flag_disposition (
    programme_id uuid not null,
    flag_id      uuid not null,
    sequence     bigint not null,
    word         text not null constraint flag_disposition_word check (word in
        ('stands', 'to_be_corrected', 'to_be_left_out')),
    reason       text not null,
    primary key (programme_id, flag_id, sequence),
    foreign key (programme_id, flag_id) references flag
);

do $$
declare
    t text;
begin
    foreach t in array array['flag', 'flag_row', 'flag_disposition'] loop
        execute format('create trigger append_only before update or delete or truncate on %I
                        for each statement execute function refuse_change()', t);
    end loop;
end
$$;

select wall_off('flag');
select wall_off('flag_row');
select wall_off('flag_disposition');
