-- Rounds whose sample is drawn by the program: plan, frame, seed, draw and close, each the
-- content of one trail entry, and the units of frame and draw.

create table round_step (
    programme_id uuid not null,
    round_code   text not null,
    step         text not null constraint round_step_name
                 check (step in ('plan', 'frame', 'seed', 'draw', 'close')),
    -- The canonical JSON that the trail committed to.
    body         text not null,
    sequence     bigint not null,
    constraint round_step_taken primary key (programme_id, round_code, step),
    foreign key (programme_id, round_code) references round
);

create table round_frame_unit (
    programme_id   uuid not null,
    round_code     text not null,
    unit_code      text not null,
    group_name     text not null,
    household_code text not null,
    serial         text not null,
    site_code      text not null,
    model          text not null,
    age_band       integer not null,
    primary key (programme_id, round_code, unit_code),
    foreign key (programme_id, round_code) references round
);

create table round_draw_unit (
    programme_id uuid not null,
    round_code   text not null,
    group_name   text not null,
    -- From 1 in each group: the sample first, then the reserve in the order of stepping in.
    place        integer not null,
    reserve      boolean not null,
    hash         text not null,
    unit_code    text not null,
    primary key (programme_id, round_code, group_name, place),
    foreign key (programme_id, round_code, unit_code) references round_frame_unit
);

do $$
declare
    t text;
begin
    foreach t in array array['round_step', 'round_frame_unit', 'round_draw_unit'] loop
        execute format('create trigger append_only before update or delete or truncate on %I
                        for each statement execute function refuse_change()', t);
    end loop;
end
$$;

select wall_off('round_step');
select wall_off('round_frame_unit');
select wall_off('round_draw_unit');
