//! Who of the reserve is called, and who came out of turn.

use super::*;

fn drawn(sample: u64, reserve: u64) -> Vec<DrawnUnit> {
    (1..=sample + reserve)
        .map(|place| DrawnUnit {
            group: "all".into(),
            place,
            reserve: place > sample,
            hash: String::new(),
            unit: format!("u{place}"),
        })
        .collect()
}

fn answer(unit: &str, visit: Visit) -> Answer {
    Answer {
        unit: unit.into(),
        visit,
        value: None,
    }
}

#[test]
fn a_reserve_unit_is_called_when_one_before_it_cannot_be_had() {
    let drawn = drawn(2, 2);
    let (states, counts) = progress(&drawn, &[answer("u1", Visit::Refused)]);
    let visits: Vec<Visit> = states.iter().map(|state| state.visit).collect();
    assert_eq!(
        visits,
        [Visit::Refused, Visit::Open, Visit::Open, Visit::Waiting]
    );
    assert_eq!((counts.reserve_called, counts.open), (1, 2));
}

#[test]
fn a_called_reserve_unit_that_refuses_calls_the_next() {
    let drawn = drawn(1, 2);
    let rows = [answer("u1", Visit::NotFound), answer("u2", Visit::Refused)];
    let (states, counts) = progress(&drawn, &rows);
    assert_eq!(states[2].visit, Visit::Open);
    assert_eq!(
        (counts.refused, counts.not_found, counts.reserve_called),
        (1, 1, 2)
    );
}

#[test]
fn a_reserve_unit_before_its_turn_is_flagged_and_does_not_count() {
    let drawn = drawn(2, 2);
    let rows = [answer("u3", Visit::Done), answer("u9", Visit::Done)];
    let (states, counts) = progress(&drawn, &rows);
    assert!(states[2].out_of_turn && !states[2].counts());
    assert_eq!((counts.out_of_turn, counts.done, counts.outside), (1, 0, 1));
    // Two have failed, but the first of the reserve has not been visited.
    let rows = [
        answer("u1", Visit::Refused),
        answer("u2", Visit::Refused),
        answer("u4", Visit::Done),
    ];
    let (states, _) = progress(&drawn, &rows);
    assert_eq!(states[2].visit, Visit::Open);
    assert!(states[3].out_of_turn);
}
