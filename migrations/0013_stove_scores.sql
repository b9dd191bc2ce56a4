-- What a laboratory scored beside the burns of a stove test, by ISO 19867-1: safety, 100 the
-- safest, and durability, 0 the most lasting.

alter table stove_test
    add column safety_score numeric,
    add column durability_score numeric,
    add constraint stove_test_scores
        check (safety_score between 0 and 100 and durability_score between 0 and 100);
