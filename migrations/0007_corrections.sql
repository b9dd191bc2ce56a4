-- Corrections: rows are superseded or excluded, batches withdrawn. The rows themselves stay as
-- they are; which of them count is said by this table, at every position of the trail.

create table correction (
    programme_id uuid not null,
    -- The trail entry that says it: it counts at positions above this one.
    sequence     bigint not null,
    kind         text not null constraint correction_kind check (kind in ('superseded', 'excluded', 'withdrawn')),
    batch_id     uuid not null,
    -- Null for the whole batch.
    line         bigint,
    -- The batch of one row that stands in place of a superseded one; accepted by the same entry.
    replaced_by  uuid,
    primary key (programme_id, sequence),
    constraint correction_place check ((kind = 'withdrawn') = (line is null)),
    constraint correction_replacement check ((kind = 'superseded') = (replaced_by is not null)),
    foreign key (programme_id, batch_id) references batch,
    -- The correction is written first, so that the row in its place finds the place free.
    foreign key (programme_id, replaced_by) references batch deferrable initially deferred
);
-- A row is superseded once and excluded once, a batch withdrawn once.
create unique index correction_taken on correction (programme_id, batch_id, kind, coalesce(line, 0));
create index correction_by_replacement on correction (programme_id, replaced_by);
create trigger append_only before update or delete or truncate on correction
    for each statement execute function refuse_change();
select wall_off('correction');

-- Codes that households were ever accepted under: what evidence refers to. Since rows are never
-- deleted, no code leaves; that the household still stands is seen to when it is corrected.
create table known_household (
    programme_id   uuid not null references programme,
    household_code text not null,
    primary key (programme_id, household_code)
);
insert into known_household select distinct programme_id, household_code from household;
create trigger append_only before update or delete or truncate on known_household
    for each statement execute function refuse_change();
select wall_off('known_household');

create function know_household() returns trigger language plpgsql as $$
begin
    insert into known_household select distinct programme_id, household_code from added
    on conflict do nothing;
    return null;
end
$$;
create trigger know_household after insert on household
    referencing new table as added for each statement execute function know_household();

do $$
declare
    known record;
begin
    for known in
        select conrelid::regclass as kept, conname from pg_constraint
        where contype = 'f' and confrelid = 'household'::regclass
    loop
        execute format('alter table %s drop constraint %I', known.kept, known.conname);
        execute format('alter table %s add constraint %I foreign key (programme_id, household_code)
                        references known_household', known.kept, known.conname);
    end loop;
    -- An end of a deployment is tied to the span of the one that stands: see close_span().
    for known in
        select conrelid::regclass as kept, conname from pg_constraint
        where contype = 'f' and confrelid = 'deployment'::regclass
    loop
        execute format('alter table %s drop constraint %I', known.kept, known.conname);
    end loop;
end
$$;

-- Lets rows of a table be corrected. One row at a time holds a key: generation counts the rows
-- that held it before and were superseded or withdrawn, so that a unique index over key and
-- generation refuses a second row beside a standing one, whoever comes at the same moment, and
-- takes one in place of a row that is gone. Two functions, inlined where they are used, hold
-- the rule of what counts:
--   live_x(programme, known_at)  rows that a statement at this position of the trail reads;
--   standing_x(programme)        rows that hold their key now, excluded ones among them.
create function correctable(kept regclass, place text, key text) returns void language plpgsql as $$
declare
    named text := kept::text;
begin
    execute format('alter table %s add column generation integer not null default 0', kept);
    execute format('alter table %s add constraint %I unique (programme_id, %s, generation)', kept, place, key);
    execute format(
        'create function %I(programme uuid, known_at bigint) returns setof %s
         language sql stable parallel safe as $body$
             select t.* from %s t
             where t.programme_id = programme and t.sequence < known_at
               and not exists (select from correction c
                               where c.programme_id = programme and c.batch_id = t.batch_id
                                 and c.line = t.line and c.sequence < known_at)
               and not exists (select from correction c
                               where c.programme_id = programme and c.batch_id = t.batch_id
                                 and c.line is null and c.sequence < known_at)
         $body$', 'live_' || named, kept, kept);
    execute format(
        'create function %I(programme uuid) returns setof %s
         language sql stable parallel safe as $body$
             select t.* from %s t
             where t.programme_id = programme
               and not exists (select from correction c
                               where c.programme_id = programme and c.batch_id = t.batch_id
                                 and c.line = t.line and c.kind = ''superseded'')
               and not exists (select from correction c
                               where c.programme_id = programme and c.batch_id = t.batch_id
                                 and c.line is null)
         $body$', 'standing_' || named, kept, kept);
end
$$;

alter table household drop constraint household_code_taken;
alter table deployment drop constraint deployment_taken;
alter table deployment_end drop constraint deployment_end_taken;
alter table usage_answer drop constraint usage_answer_taken;
alter table kitchen_day drop constraint kitchen_day_taken;
alter table char_weighing drop constraint char_weighing_taken;
alter table baseline_survey_answer drop constraint baseline_survey_answer_taken;
alter table cooking_test drop constraint cooking_test_taken;
alter table stove_test drop constraint stove_test_taken;
alter table char_lab_result drop constraint char_lab_result_taken;
alter table moisture_reading drop constraint moisture_reading_taken;
select correctable('household', 'household_code_taken', 'household_code');
select correctable('deployment', 'deployment_taken', 'serial, installed_on');
select correctable('deployment_end', 'deployment_end_taken', 'serial, installed_on');
select correctable('usage_answer', 'usage_answer_taken', 'round_code, serial');
select correctable('kitchen_day', 'kitchen_day_taken', 'round_code, household_code, measured_on, device, fuel');
select correctable('char_weighing', 'char_weighing_taken', 'round_code, row_hash');
select correctable('baseline_survey_answer', 'baseline_survey_answer_taken',
                   'household_code, surveyed_on, device, fuel');
select correctable('cooking_test', 'cooking_test_taken', 'test_code');
select correctable('stove_test', 'stove_test_taken', 'test_code');
select correctable('char_lab_result', 'char_lab_result_taken', 'sample_code');
select correctable('moisture_reading', 'moisture_reading_taken', 'household_code, measured_on, fuel');

-- The spans follow the deployments that stand; each says which row it is of.
alter table deployment_span add column batch_id uuid, add column line bigint;
update deployment_span s set batch_id = d.batch_id, line = d.line
from deployment d
where (d.programme_id, d.serial, d.installed_on) = (s.programme_id, s.serial, s.installed_on);
alter table deployment_span alter column batch_id set not null, alter column line set not null;

create or replace function open_span() returns trigger language plpgsql as $$
begin
    insert into deployment_span
    select programme_id, serial, installed_on, household_code, coalesce(second_stove, false),
           daterange(installed_on, ended_on), batch_id, line
    from added where generation = 0;
    -- A deployment in place of an earlier one may have its end recorded already.
    insert into deployment_span
    select a.programme_id, a.serial, a.installed_on, a.household_code, coalesce(a.second_stove, false),
           daterange(a.installed_on, coalesce(a.ended_on, (
               select min(e.ended_on) from standing_deployment_end(a.programme_id) e
               where e.serial = a.serial and e.installed_on = a.installed_on))),
           a.batch_id, a.line
    from added a where a.generation > 0;
    return null;
end
$$;

create or replace function close_span() returns trigger language plpgsql as $$
declare
    closed bigint;
begin
    update deployment_span s
    set span = daterange(s.installed_on, a.ended_on)
    from added a
    where (s.programme_id, s.serial, s.installed_on) = (a.programme_id, a.serial, a.installed_on);
    get diagnostics closed = row_count;
    if closed <> (select count(*) from added) then
        raise exception 'an end is recorded of a deployment that does not stand'
            using errcode = 'foreign_key_violation', constraint = 'deployment_end_of_deployment';
    end if;
    return null;
end
$$;

-- A deployment that is superseded or withdrawn leaves its span. One whose end is withdrawn is
-- open again, which is refused where its stove went elsewhere since. One whose end is
-- superseded has an empty span until the end in its place is written.
create function follow_correction() returns trigger language plpgsql as $$
begin
    delete from deployment_span s
    using added c
    join deployment d on d.programme_id = c.programme_id and d.batch_id = c.batch_id
                     and (c.line is null or d.line = c.line)
    where c.kind <> 'excluded'
      and (s.programme_id, s.serial, s.installed_on) = (d.programme_id, d.serial, d.installed_on)
      and s.batch_id = d.batch_id and s.line = d.line;
    update deployment_span s
    set span = case when c.kind = 'superseded' then 'empty'::daterange
                    else daterange(s.installed_on, d.ended_on) end
    from added c
    join deployment_end e on e.programme_id = c.programme_id and e.batch_id = c.batch_id
                         and (c.line is null or e.line = c.line)
    join deployment d on (d.programme_id, d.serial, d.installed_on)
                       = (e.programme_id, e.serial, e.installed_on)
    where c.kind <> 'excluded'
      and (s.programme_id, s.batch_id, s.line) = (d.programme_id, d.batch_id, d.line)
      and (s.serial, s.installed_on) = (d.serial, d.installed_on)
      and not exists (select from correction earlier
                      where earlier.programme_id = c.programme_id and earlier.batch_id = c.batch_id
                        and earlier.line = e.line and earlier.kind = 'superseded'
                        and earlier.sequence < c.sequence);
    return null;
end
$$;
create trigger follow_correction after insert on correction
    referencing new table as added for each statement execute function follow_correction();
