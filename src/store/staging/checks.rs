//! The rules of a batch that need the database, one query each.
//!
//! `$1` is the programme, `$2` the round. Each query yields the broken rows'
//! `line` and a `detail` in the reader's words. They run under the programme's
//! write lock; the constraints of the tables stand behind them.

mod samples;

use crate::intake::BatchKind;

#[derive(Clone, Copy)]
pub(super) struct Check {
    pub column: &'static str,
    pub code: &'static str,
    pub broken_rows: &'static str,
    /// True where a row that could not be read would make sound rows look broken.
    pub needs_every_row: bool,
    /// True where the rule is about a household's rows in one file, not about each row.
    pub of_whole_files: bool,
}

const fn check(column: &'static str, code: &'static str, broken_rows: &'static str) -> Check {
    Check {
        column,
        code,
        broken_rows,
        needs_every_row: false,
        of_whole_files: false,
    }
}

pub(super) fn of(kind: BatchKind) -> &'static [Check] {
    match kind {
        BatchKind::Households => HOUSEHOLDS,
        BatchKind::Deployments => DEPLOYMENTS,
        BatchKind::DeploymentEnds => DEPLOYMENT_ENDS,
        BatchKind::UsageSurvey => USAGE_SURVEY,
        BatchKind::KitchenTest => KITCHEN_TEST,
        BatchKind::CharWeighing => CHAR_WEIGHING,
        BatchKind::BaselineSurvey => samples::BASELINE_SURVEY,
        BatchKind::CookingTest => samples::COOKING_TEST,
        BatchKind::StoveTest => samples::STOVE_TEST,
        BatchKind::CharLab => samples::CHAR_LAB,
        BatchKind::MoistureReading => samples::MOISTURE_READING,
    }
}

const HOUSEHOLDS: &[Check] = &[
    check(
        "household_code",
        "duplicate_row",
        "select line, format('household %s already stands on line %s', household_code, first_line) as detail
         from (select line, household_code,
                      min(line) over (partition by household_code) as first_line from staged) s
         where line > first_line",
    ),
    check(
        "household_code",
        "duplicate_row",
        "select s.line, format('household %s is already in the register', s.household_code) as detail
         from staged s join standing_household($1) h on h.household_code = s.household_code",
    ),
    check(
        "site_code",
        "unknown_site",
        "select s.line, format('the programme has no site %s', s.site_code) as detail
         from staged s left join site on site.programme_id = $1 and site.site_code = s.site_code
         where site.site_code is null",
    ),
];

/// A deployment put in place of another may have its end recorded already, in a row of its own.
const DEPLOYMENTS: &[Check] = &[
    check(
        "household_code",
        "unknown_household",
        "select s.line, format('household %s is not in the register', s.household_code) as detail
         from staged s
         left join standing_household($1) h on h.household_code = s.household_code
         where h.household_code is null",
    ),
    check(
        "model_code",
        "unknown_stove_model",
        "select s.line, format('the programme has no stove model %s version %s',
                               s.model_code, s.model_version) as detail
         from staged s
         left join stove_model m on m.programme_id = $1 and m.model_code = s.model_code
                                and m.model_version = s.model_version
         where m.model_code is null",
    ),
    check(
        "serial",
        "overlapping_deployment",
        "select s.line, format('stove %s is already placed on line %s for part of this time',
                               s.serial, min(o.line)) as detail
         from staged s
         join staged o on o.serial = s.serial and o.line < s.line
              and daterange(o.installed_on, o.ended_on) && daterange(s.installed_on, s.ended_on)
         group by s.line, s.serial",
    ),
    check(
        "serial",
        "overlapping_deployment",
        "select s.line, format('stove %s is in household %s from %s to %s; one unit is in one household at a time',
                               s.serial, min(o.household_code), min(lower(o.span)),
                               coalesce(min(upper(o.span))::text, 'now')) as detail
         from staged s
         left join standing_deployment_end($1) e on e.serial = s.serial and e.installed_on = s.installed_on
         join deployment_span o on o.programme_id = $1 and o.serial = s.serial
              and o.span && daterange(s.installed_on, coalesce(s.ended_on, e.ended_on))
         group by s.line, s.serial",
    ),
    check(
        "household_code",
        "second_stove_not_marked",
        "select s.line, format('household %s already has stove %s on line %s for part of this time; write yes in second_stove if this is a further stove',
                               s.household_code, min(o.serial), min(o.line)) as detail
         from staged s
         join staged o on o.household_code = s.household_code and o.line < s.line
              and o.serial <> s.serial and not coalesce(o.second_stove, false)
              and daterange(o.installed_on, o.ended_on) && daterange(s.installed_on, s.ended_on)
         where not coalesce(s.second_stove, false)
         group by s.line, s.household_code",
    ),
    check(
        "household_code",
        "second_stove_not_marked",
        "select s.line, format('household %s already has stove %s for part of this time; write yes in second_stove if this is a further stove',
                               s.household_code, min(o.serial)) as detail
         from staged s
         left join standing_deployment_end($1) e on e.serial = s.serial and e.installed_on = s.installed_on
         join deployment_span o on o.programme_id = $1 and o.household_code = s.household_code
              and o.serial <> s.serial and not o.second_stove
              and o.span && daterange(s.installed_on, coalesce(s.ended_on, e.ended_on))
         where not coalesce(s.second_stove, false)
         group by s.line, s.household_code",
    ),
];

const DEPLOYMENT_ENDS: &[Check] = &[
    check(
        "serial",
        "duplicate_row",
        "select line, format('the end of stove %s installed on %s already stands on line %s',
                             serial, installed_on, first_line) as detail
         from (select line, serial, installed_on,
                      min(line) over (partition by serial, installed_on) as first_line from staged) s
         where line > first_line",
    ),
    check(
        "serial",
        "unknown_deployment",
        "select s.line, format('no deployment of stove %s was installed on %s', s.serial, s.installed_on) as detail
         from staged s
         left join standing_deployment($1) d on d.serial = s.serial
                               and d.installed_on = s.installed_on
         where d.serial is null",
    ),
    check(
        "serial",
        "already_ended",
        "select s.line, format('this deployment of stove %s already ended on %s', s.serial, upper(d.span)) as detail
         from staged s
         join deployment_span d on d.programme_id = $1 and d.serial = s.serial
                               and d.installed_on = s.installed_on
         where not upper_inf(d.span) and not isempty(d.span)",
    ),
];

/// Days outside the round that the batch was uploaded into.
macro_rules! outside_round {
    ($day:literal) => {
        check(
            $day,
            "outside_round",
            concat!(
                "select s.line, format('%s is outside round %s, which runs from %s until before %s', s.",
                $day,
                ", r.round_code, r.starts_on, r.ends_on) as detail
                 from staged s join round r on r.programme_id = $1 and r.round_code = $2
                 where s.",
                $day,
                " < r.starts_on or s.",
                $day,
                " >= r.ends_on"
            ),
        )
    };
}

use outside_round;

const UNREGISTERED_HOUSEHOLD: Check = check(
    "household_code",
    "unknown_household",
    "select s.line, format('household %s is not in the register', s.household_code) as detail
     from staged s
     left join standing_household($1) h on h.household_code = s.household_code
     where h.household_code is null",
);

const USAGE_SURVEY: &[Check] = &[
    UNREGISTERED_HOUSEHOLD,
    outside_round!("surveyed_on"),
    check(
        "serial",
        "unknown_deployment",
        "select s.line, format('stove %s was not deployed to household %s by %s',
                               s.serial, s.household_code, s.surveyed_on) as detail
         from staged s
         where not exists (
             select from standing_deployment($1) d
             where d.serial = s.serial
               and d.household_code = s.household_code and d.installed_on <= s.surveyed_on)",
    ),
    check(
        "serial",
        "duplicate_row",
        "select line, format('stove %s already stands on line %s', serial, first_line) as detail
         from (select line, serial, min(line) over (partition by serial) as first_line from staged) s
         where line > first_line",
    ),
    check(
        "serial",
        "duplicate_row",
        "select s.line, format('stove %s already has an answer in round %s', s.serial, u.round_code) as detail
         from staged s
         join standing_usage_answer($1) u on u.round_code = $2 and u.serial = s.serial",
    ),
];

const KITCHEN_TEST: &[Check] = &[
    UNREGISTERED_HOUSEHOLD,
    outside_round!("measured_on"),
    check(
        "household_code",
        "duplicate_row",
        "select line, format('this household, day, device and fuel already stand on line %s', first_line) as detail
         from (select line, min(line) over (partition by household_code, measured_on, device, fuel)
                            as first_line from staged) s
         where line > first_line",
    ),
    Check {
        of_whole_files: true,
        ..check(
            "household_code",
            "duplicate_row",
            "select s.line, format('household %s already has a kitchen test in round %s; its days come in one file',
                                   s.household_code, $2) as detail
             from staged s
             where exists (select from standing_kitchen_day($1) k
                           where k.round_code = $2
                             and k.household_code = s.household_code)",
        )
    },
    Check {
        needs_every_row: true,
        of_whole_files: true,
        ..check(
            "measured_on",
            "too_few_days",
            "select min(line) as line,
                    format('household %s has %s measured days; a kitchen test needs at least 3',
                           household_code, count(distinct measured_on)) as detail
             from staged group by household_code having count(distinct measured_on) < 3",
        )
    },
    check(
        "household_code",
        "people_differ",
        "select max(line) as line,
                format('the rows of household %s on %s give different people; write the same people on each row of a day',
                       household_code, measured_on) as detail
         from staged group by household_code, measured_on
         having count(distinct (children_0_14, women_over_14, men_15_59, men_over_59)) > 1",
    ),
];

const CHAR_WEIGHING: &[Check] = &[
    UNREGISTERED_HOUSEHOLD,
    outside_round!("weighed_on"),
    check(
        "household_code",
        "duplicate_row",
        "select line, format('the very same weighing already stands on line %s', first_line) as detail
         from (select line, min(line) over (partition by row_hash) as first_line from staged) s
         where line > first_line",
    ),
    check(
        "household_code",
        "duplicate_row",
        "select s.line, format('the very same weighing is already recorded in round %s', c.round_code) as detail
         from staged s
         join standing_char_weighing($1) c on c.round_code = $2 and c.row_hash = s.row_hash",
    ),
];
