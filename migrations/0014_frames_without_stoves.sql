-- Frames of units without a stove in service, and of weighings of char.

alter table round_frame_unit
    -- Serial and model are empty, and the age is null, where no stove is in service.
    alter column age_band drop not null,
    add column weighed_on date,
    add column feedstock text not null default '';
