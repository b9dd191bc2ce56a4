//! A changed cell of any kind of row is found on its line, also under fitting manifests.

use crate::support::bag::SpoiltBag;
use crate::support::seeded;
use emberbook::intake::BatchKind;
use emberbook::verify::layout;

/// Cells before those of the template: batch, line, hash.
const PLACE_CELLS: usize = 3;

/// Another value that the template takes in this cell of this kind's rows.
fn change(kind: BatchKind) -> (&'static str, &'static str) {
    match kind {
        BatchKind::Households => ("women_over_14", "9"),
        BatchKind::Deployments => ("installed_on", "2022-12-30"),
        BatchKind::DeploymentEnds => ("end_reason", "replaced"),
        BatchKind::UsageSurvey => ("surveyed_on", "2024-09-02"),
        BatchKind::KitchenTest => ("added_wet_kg", "77"),
        BatchKind::CharWeighing => ("char_wet_kg", "0.01"),
        BatchKind::BaselineSurvey => ("fuel_wet_kg_per_day", "19.5"),
        BatchKind::CookingTest => ("food_kg", "9.5"),
        BatchKind::StoveTest => ("water_end_kg", "0.5"),
        BatchKind::CharLab => ("hydrogen", "0.0101"),
        BatchKind::MoistureReading => ("moisture_wb", "0.0101"),
    }
}

#[test]
fn a_changed_cell_of_every_kind_is_found_on_its_line() {
    let bag = SpoiltBag::of(&seeded().bag);
    for kind in BatchKind::ALL {
        let file = format!("data/{}", layout::row_file(kind));
        let sound = bag.read(&file);
        let (column, value) = change(kind);
        let at = PLACE_CELLS + kind.template().column(column).expect(column);
        // The second row, so that neither the header nor an end of the file stands beside it.
        bag.edit_lines(&file, |lines| {
            let mut cells: Vec<&str> = lines[2].split(',').collect();
            cells[at] = value;
            lines[2] = cells.join(",");
        });
        bag.seal();
        let found = |words: &str, line: Option<u64>| {
            bag.faults().iter().any(|fault| {
                fault.file == file
                    && fault.problem.contains(words)
                    && (line.is_none() || fault.line == line)
            })
        };
        assert!(
            found("it was changed", Some(3)),
            "{kind}: {:?}",
            bag.faults()
        );
        assert!(found("do not hash to the root", None), "{kind}");
        bag.write(&file, sound);
    }
    bag.seal();
    let report = bag.verify();
    assert!(report.is_sound(), "every cell was put back: {report}");
}
