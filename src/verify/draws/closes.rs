//! What each close of a round says, worked out again from the rows of the bag.

use super::{Draws, counted};
use crate::accounting::records::RoundKind;
use crate::accounting::rounds::answers::RoundRows;
use crate::accounting::rounds::closing::{Drawn, close, differences};
use crate::accounting::rounds::records::CloseRecord;
use crate::verify::evidence::Evidence;
use crate::verify::layout;
use crate::verify::record::History;
use crate::verify::report::{Fault, Level, Report};

pub(super) fn check(history: &History, evidence: &Evidence, draws: &Draws, report: &mut Report) {
    for (sequence, stated) in &history.closes {
        if let Err(problem) = redo(*sequence, stated, history, evidence, draws) {
            let fault = Fault::of_payload(
                layout::CONTENTS,
                format!("round {}: its close: {problem}", stated.round),
            );
            // Entry 0 stands on line 1.
            report.fault(Level::Draws, fault.at_line(sequence.saturating_add(1)));
        }
    }
}

fn redo(
    sequence: u64,
    stated: &CloseRecord,
    history: &History,
    evidence: &Evidence,
    draws: &Draws,
) -> Result<(), String> {
    if stated.position > sequence {
        return Err("it claims a position after its entry".into());
    }
    let round = stated.round.as_str();
    let was_drawn = history
        .drawn_rounds
        .iter()
        .any(|steps| steps.round == round && steps.draw.is_some());
    let Some((steps, units)) = draws.get(round) else {
        if was_drawn {
            return Err("its draw could not be made again, so neither could its figures".into());
        }
        return equal(stated, &close(round, stated.position, None));
    };
    let (Some((_, framed, _)), Some((_, drawn))) = (&steps.frame, &steps.draw) else {
        return Err("it has no frame".into());
    };
    let kind = history
        .rounds
        .iter()
        .find(|(_, record)| record.code == round)
        .map(|(_, record)| record.kind)
        .ok_or("the round was never opened")?;
    let plan = &steps.plan.1.plan;
    let rows = rows_of(kind, round, stated.position, history, evidence);
    let answers = rows.answers(plan.unit);
    let again = close(
        round,
        stated.position,
        Some(Drawn {
            plan,
            sizes: &framed.sizes,
            clusters: &drawn.clusters,
            units,
            answers: &answers,
            outside: 0,
        }),
    );
    equal(stated, &again)
}

fn equal(stated: &CloseRecord, again: &CloseRecord) -> Result<(), String> {
    let found = differences(stated, again);
    if found.is_empty() {
        Ok(())
    } else {
        Err(found.join("; "))
    }
}

/// Rows of the round that count at `position`.
fn rows_of(
    kind: RoundKind,
    round: &str,
    position: u64,
    history: &History,
    evidence: &Evidence,
) -> RoundRows {
    macro_rules! of {
        ($rows:ident) => {
            counted(history, evidence, &evidence.$rows, position, Some(round))
                .into_iter()
                .map(|(_, _, row)| row)
                .collect()
        };
    }
    match kind {
        RoundKind::UsageSurvey => RoundRows::Usage(of!(usage_answers)),
        RoundKind::KitchenBaseline | RoundKind::KitchenProject => {
            RoundRows::Kitchens(of!(kitchen_days))
        }
        RoundKind::CharWeighing => RoundRows::Weighings(of!(char_weighings)),
        RoundKind::BaselineSurvey => RoundRows::Baseline(of!(baseline_answers)),
        RoundKind::CookingTest => RoundRows::Cooking(of!(cooking_tests)),
        RoundKind::StoveTest => RoundRows::StoveTests(of!(stove_tests)),
        RoundKind::CharLab => RoundRows::CharLab(of!(char_samples)),
        RoundKind::Moisture => RoundRows::Moisture(of!(moisture_readings)),
    }
}
