//! The files of a bag for human readers, and its tables that retell the trail: each says what
//! the trail says.

use super::layout;
use super::record::History;
use super::report::{Fault, Level, Report};
use super::tables::Table;
use crate::trail::bag::Bag;
use std::io::Read;

/// The files for human readers say what the trail says.
pub(super) fn check(bag: &Bag, history: &History, report: &mut Report) {
    let factors: Vec<_> = history.factors.iter().map(|(_, factor)| factor).collect();
    compare_json(bag, layout::FACTORS, &factors, report);
    let methodologies: Vec<_> = history.methodologies.iter().map(|(_, m)| m).collect();
    compare_json(bag, layout::METHODOLOGIES, &methodologies, report);
    for table in Table::ALL {
        compare_table(bag, table, history, report);
    }
    if let Some(programme) = &history.programme {
        compare_json(
            bag,
            layout::DATAPACKAGE,
            &layout::datapackage(&programme.code),
            report,
        );
        let readme = layout::readme(&programme.code, &programme.name, history.entries);
        let mut found = Vec::new();
        let read = bag
            .payload(layout::README)
            .map(|mut file| file.read_to_end(&mut found));
        if !matches!(read, Ok(Ok(_))) || found != readme.as_bytes() {
            let problem = "it is not the page that this version writes for this trail";
            report.fault(Level::Evidence, Fault::of_payload(layout::README, problem));
        }
    }
}

fn compare_json<T: serde::Serialize>(bag: &Bag, file: &str, expected: &T, report: &mut Report) {
    let found = bag
        .payload(file)
        .map_err(|e| e.to_string())
        .and_then(|reader| {
            serde_json::from_reader::<_, serde_json::Value>(reader).map_err(|e| e.to_string())
        });
    let problem = match (found, serde_json::to_value(expected)) {
        (Ok(found), Ok(expected)) if found == expected => return,
        (Ok(_), _) => "it differs from what the trail holds".to_owned(),
        (Err(problem), _) => problem,
    };
    report.fault(Level::Evidence, Fault::of_payload(file, problem));
}

/// Compares a table that retells the trail with what the trail says, line by line.
fn compare_table(bag: &Bag, table: Table, history: &History, report: &mut Report) {
    let file = table.file();
    let mut due = Vec::new();
    let (mut found, mut problem) = (Vec::new(), None);
    if let Err(error) = history.tables.write(table, &mut due) {
        problem = Some(error.to_string());
    }
    match bag.payload(file) {
        Err(error) => problem = Some(error.to_string()),
        Ok(reader) => {
            // One byte more than is due tells of anything beyond.
            let mut reader = reader.take(due.len() as u64 + 1);
            if let Err(error) = reader.read_to_end(&mut found) {
                problem = Some(error.to_string());
            }
        }
    }
    if let Some(problem) = problem {
        return report.fault(Level::Evidence, Fault::of_payload(file, problem));
    }
    if found == due {
        return;
    }
    let same = found.split(|b| *b == b'\n').zip(due.split(|b| *b == b'\n'));
    let line = same.take_while(|(found, due)| found == due).count() as u64 + 1;
    let problem = "it differs from what the trail holds";
    report.fault(
        Level::Evidence,
        Fault::of_payload(file, problem).at_line(line),
    );
}
