//! What is told to be done next, in the states that a programme goes through.

use super::*;
use crate::accounting::statement::Gap;
use crate::service::periods::NewPeriod;
use crate::service::rounds::NewRound;

fn day(text: &str) -> NaiveDate {
    text.parse().unwrap()
}

fn period(code: &str, closed_by: Option<u64>) -> PeriodView {
    PeriodView {
        period: NewPeriod {
            code: code.into(),
            starts_on: day("2025-01-01"),
            ends_on: day("2026-01-01"),
        },
        closed_by,
    }
}

fn round(code: &str, ends_on: &str) -> RoundView {
    RoundView {
        round: NewRound {
            code: code.into(),
            kind: "usage_survey".into(),
            starts_on: day("2025-01-01"),
            ends_on: day(ends_on),
            design: String::new(),
            plan: None,
        },
        rows: 0,
        sequence: 0,
    }
}

fn statement(period: &str, position: u64) -> StatementView {
    StatementView {
        id: Uuid::nil(),
        period: period.into(),
        methodology: "m@1".into(),
        position,
        restatement: false,
        sha256: String::new(),
        sequence: position,
    }
}

struct World {
    rounds: Vec<RoundView>,
    last_steps: BTreeMap<String, String>,
    periods: Vec<PeriodView>,
    blocking: BTreeMap<String, Vec<String>>,
    statements: Vec<StatementView>,
    batches: Vec<u64>,
    missing: Vec<Missing>,
}

impl World {
    /// A programme with a register and a round, and nothing to do.
    fn settled() -> Self {
        World {
            rounds: vec![round("usage", "2025-10-01")],
            last_steps: BTreeMap::new(),
            periods: vec![period("2025", Some(9))],
            blocking: BTreeMap::new(),
            statements: vec![statement("2025", 8)],
            batches: vec![3],
            missing: Vec::new(),
        }
    }

    fn steps(&self) -> Vec<(Option<String>, String, Place)> {
        let known = Known {
            today: day("2026-02-01"),
            sites: 1,
            models: 1,
            households: 5,
            deployments: 5,
            rounds: &self.rounds,
            last_steps: &self.last_steps,
            open_flags: 0,
            open_findings: 0,
            periods: &self.periods,
            blocking: &self.blocking,
            statements: &self.statements,
            batch_sequences: &self.batches,
            missing: &self.missing,
        };
        next_steps(&known)
            .into_iter()
            .map(|step| (step.period, step.words, step.place))
            .collect()
    }
}

#[test]
fn a_settled_programme_has_nothing_to_do() {
    assert_eq!(World::settled().steps(), []);
}

#[test]
fn an_open_period_says_first_what_it_lacks_and_where_that_is_mended() {
    let mut world = World::settled();
    world.periods.push(period("2026", None));
    let gap = |code: &str| Gap {
        code: code.into(),
        sentence: code.to_uppercase(),
    };
    world.missing = vec![Missing {
        period: "2026".into(),
        methodology: "m@1".into(),
        gaps: vec![
            gap("no-usage-survey"),
            gap("factor-missing"),
            gap("fuel-without-rule"),
        ],
    }];
    let places: Vec<Place> = world
        .steps()
        .into_iter()
        .map(|(_, _, place)| place)
        .collect();
    let methods = Place::Methods("2026".into());
    assert_eq!(places, [Place::Evidence, Place::Factors, methods]);
    world.missing[0].gaps.clear();
    let steps = world.steps();
    assert_eq!(steps.len(), 1);
    assert_eq!(steps[0].2, Place::Statements);
}

#[test]
fn a_stated_period_asks_for_its_later_batches_its_findings_and_then_its_closing() {
    let mut world = World::settled();
    world.periods = vec![period("2025", None)];
    assert_eq!(world.steps()[0].2, Place::Statement(Uuid::nil()));
    world.batches.extend([8, 12]);
    world.blocking.insert("2025".into(), vec!["F-002".into()]);
    let steps = world.steps();
    assert!(steps[0].1.contains("2 batches"), "{steps:?}");
    assert_eq!(steps[1].2, Place::Finding("F-002".into()));
    assert_eq!(steps.len(), 2);
}

#[test]
fn a_drawn_round_asks_for_its_next_step_until_it_is_closed() {
    let mut world = World::settled();
    let mut asked = |step: &str| {
        world.last_steps = BTreeMap::from([("usage".to_owned(), step.to_owned())]);
        world.steps().pop().map(|(_, words, _)| words)
    };
    assert!(asked("plan").unwrap().contains("frame"));
    assert!(asked("frame").unwrap().contains("seed"));
    assert!(asked("draw").unwrap().contains("close"));
    assert_eq!(asked("close"), None);
    world.rounds = vec![round("usage", "2026-12-01")];
    world.last_steps = BTreeMap::from([("usage".to_owned(), "draw".to_owned())]);
    assert!(world.steps()[0].1.contains("visit"));
}
