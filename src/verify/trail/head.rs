//! The signed heads of a bag: the one over all of it, those that witnesses cosigned, and
//! the one that the reader kept.

use super::{Walk, text};
use crate::trail::bag::Bag;
use crate::trail::cosignature::{Cosignature, WitnessKey, cosignatures, strangers};
use crate::trail::key_change::KeyChain;
use crate::trail::note::{NoteError, VerifierKey};
use crate::verify::report::{Fault, Level, Report};
use crate::verify::{Options, layout};
use chrono::{DateTime, SecondsFormat};
use serde::Deserialize;
use std::collections::BTreeMap;

/// Checks the signed head and returns whose key signed it.
pub(super) fn check_head(
    bag: &Bag,
    options: &Options,
    walk: &Walk,
    report: &mut Report,
) -> Option<String> {
    let mut fault = |file: &str, problem: String| {
        report.fault(Level::Trail, Fault::of_payload(file, problem));
    };
    let Some(chain) = &walk.chain else {
        let problem = match &walk.history.programme {
            None => "the first entry does not create a programme".into(),
            Some(programme) => match programme.checkpoint_key.parse::<VerifierKey>() {
                Err(error) => error.to_string(),
                Ok(_) => "the first entry names no key".into(),
            },
        };
        fault(layout::ENTRIES, problem);
        return None;
    };
    let given = text(bag, layout::CHECKPOINT_KEY).unwrap_or_default();
    let told: Vec<String> = chain.keys().map(ToString::to_string).collect();
    if !given.lines().eq(told.iter().map(String::as_str)) {
        let problem = match told.len() {
            1 => "it is not the key that the trail's first entry names".into(),
            several => format!("it does not hold the {several} keys that the trail names"),
        };
        fault(layout::CHECKPOINT_KEY, problem);
    }
    if let Some(pinned) = &options.key
        && !chain.keys().any(|key| key == pinned)
    {
        let problem = format!(
            "{}: the trail was never signed by the key that you brought",
            NoteError::NoKnownSignature
        );
        fault(layout::CHECKPOINT, problem);
        return None;
    }
    let opened = text(bag, layout::CHECKPOINT)
        .and_then(|note| chain.open(&note).map_err(|error| error.to_string()));
    let (head, key) = match opened {
        Ok(opened) => opened,
        Err(problem) => {
            fault(layout::CHECKPOINT, problem);
            return None;
        }
    };
    if key != *chain.current() && walk.tree.size() > head.size {
        fault(layout::CHECKPOINT, "it is of a key that was left".into());
    }
    if head.size != walk.tree.size() {
        let have = walk.tree.size();
        let problem = format!("it is over {} entries, the bag holds {have}", head.size);
        fault(layout::CHECKPOINT, problem);
    } else if head.root != walk.tree.root() {
        let problem = "the entries do not hash to its root";
        fault(layout::CHECKPOINT, problem.into());
    }
    if options.key.is_none() {
        report.remark(format!(
            "the key was taken from the bag itself; compare it with a copy you trust: {}",
            chain.current()
        ));
    }
    tell_changes(chain, options, report);
    Some(key.name().to_owned())
}

/// Says where the key changed, and by which way the reader's own key leads to the head.
fn tell_changes(chain: &KeyChain, options: &Options, report: &mut Report) {
    let changes = chain.keys().count() - 1;
    if changes == 0 {
        return;
    }
    let led = match &options.key {
        Some(pinned) if pinned != chain.current() => {
            "; the key that you brought leads to it by entries that both keys signed"
        }
        _ => "",
    };
    report.remark(format!(
        "the log's key was changed {changes} time(s); the one in force is {}{led}",
        chain.current()
    ));
}

pub(super) fn check_kept(options: &Options, walk: &Walk, report: &mut Report) {
    let (Some(kept), Some(chain)) = (&options.kept_checkpoint, &walk.chain) else {
        // Without keys the check of the head has told so.
        return;
    };
    if options
        .key
        .as_ref()
        .is_some_and(|pinned| !chain.keys().any(|key| key == pinned))
    {
        return;
    }
    let problem = match chain.open(kept) {
        Err(error) => error.to_string(),
        Ok((kept, _)) => match walk.differs(kept.size, &kept.root) {
            Some(problem) => problem,
            None => return,
        },
    };
    report.fault(Level::Trail, Fault::new("the kept checkpoint", problem));
}

/// One line of the file of cosigned checkpoints.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Cosigned {
    size: u64,
    note: String,
}

/// Checks every cosigned checkpoint, and says whose cosignatures hold.
pub(super) fn check_cosigned(bag: &Bag, options: &Options, walk: &Walk, report: &mut Report) {
    // Where nobody cosigned there is no such file.
    let notes = text(bag, layout::COSIGNED).unwrap_or_default();
    let mut latest: BTreeMap<String, (u64, Cosignature)> = BTreeMap::new();
    for (number, line) in (1..).zip(notes.lines()) {
        match cosigned(line, options, walk) {
            Ok((size, found)) => {
                for each in found {
                    let key = each.witness.to_string();
                    let known = latest.entry(key).or_insert_with(|| (size, each.clone()));
                    if known.0 < size {
                        *known = (size, each);
                    }
                }
            }
            Err(problem) => report.fault(
                Level::Trail,
                Fault::of_payload(layout::COSIGNED, problem).at_line(number),
            ),
        }
    }
    for (size, cosignature) in latest.values() {
        report.remark(format!(
            "cosigned by {}: its cosignature on the checkpoint over {size} entries holds, made {}",
            cosignature.witness.name(),
            told_time(cosignature.time)
        ));
    }
    for pinned in &options.witnesses {
        if !latest.contains_key(&pinned.to_string()) {
            let problem = format!("no checkpoint of this bag is cosigned by {pinned}");
            report.fault(Level::Trail, Fault::of_payload(layout::COSIGNED, problem));
        }
    }
}

fn cosigned(line: &str, options: &Options, walk: &Walk) -> Result<(u64, Vec<Cosignature>), String> {
    let chain = walk.chain.as_ref().ok_or("the trail names no key")?;
    let cosigned: Cosigned =
        serde_json::from_str(line).map_err(|e| format!("it cannot be read: {e}"))?;
    let (head, _) = chain.open(&cosigned.note).map_err(|e| e.to_string())?;
    if head.size != cosigned.size {
        return Err(format!(
            "it says {}, its checkpoint {} entries",
            cosigned.size, head.size
        ));
    }
    if let Some(problem) = walk.differs(head.size, &head.root) {
        return Err(problem);
    }
    let mut witnesses: Vec<WitnessKey> = walk.witnesses.clone();
    witnesses.extend(options.witnesses.iter().cloned());
    let log = chain.current().name();
    let unknown = strangers(&cosigned.note, log, &witnesses).map_err(|e| e.to_string())?;
    if let Some(name) = unknown.first() {
        return Err(format!("{name} is not a witness that the trail registers"));
    }
    let found = cosignatures(&cosigned.note, &witnesses).map_err(|e| e.to_string())?;
    Ok((head.size, found))
}

fn told_time(seconds: u64) -> String {
    i64::try_from(seconds)
        .ok()
        .and_then(|seconds| DateTime::from_timestamp(seconds, 0))
        .map_or_else(
            || format!("{seconds} seconds after 1970"),
            |time| time.to_rfc3339_opts(SecondsFormat::Secs, true),
        )
}
