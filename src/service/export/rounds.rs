//! The tables of drawn rounds in the export: frames, seeds, draws.

use super::{disk, unwritten};
use crate::service::drawn_rounds::steps_of;
use crate::service::{Caller, ServiceError};
use crate::store;
use crate::trail::bag::BagWriter;
use crate::verify::layout;
use sqlx::PgConnection;
use std::io::BufWriter;

/// Writes the three tables, round after round in the order in which they were planned.
pub(super) async fn write(
    connection: &mut PgConnection,
    caller: &Caller,
    position: u64,
    bag: &mut BagWriter,
) -> Result<(), ServiceError> {
    let programme = caller.programme_id;
    let rounds = store::drawn_rounds::planned(connection, programme, position).await?;
    let (mut frames, mut seeds, mut draws) = (Vec::new(), Vec::new(), Vec::new());
    for round in rounds {
        let line = |cells: &[String]| -> Vec<String> {
            std::iter::once(&round).chain(cells).cloned().collect()
        };
        let steps = steps_of(connection, caller, &round).await?;
        let frame = store::drawn_rounds::frame(connection, programme, &round).await?;
        frames.extend(frame.iter().map(|unit| line(&unit.cells())));
        let draw = store::drawn_rounds::draw(connection, programme, &round).await?;
        draws.extend(draw.iter().map(|unit| line(&unit.cells())));
        if let (Some((_, framed)), Some((_, seeded))) = (steps.frame, steps.seed) {
            seeds.push(line(&[
                framed.sha256,
                seeded.tree_size.to_string(),
                seeded.root,
                seeded.words,
                seeded.source,
                seeded.seed,
            ]));
        }
    }
    table(bag, layout::ROUND_FRAMES, &layout::frame_header(), &frames)?;
    table(bag, layout::ROUND_SEEDS, &layout::seed_header(), &seeds)?;
    table(bag, layout::ROUND_DRAWS, &layout::draw_header(), &draws)
}

fn table(
    bag: &mut BagWriter,
    path: &str,
    header: &[&str],
    rows: &[Vec<String>],
) -> Result<(), ServiceError> {
    let mut file = bag.payload(path).map_err(disk)?;
    {
        let mut csv = csv::WriterBuilder::new()
            .terminator(csv::Terminator::Any(b'\n'))
            .from_writer(BufWriter::new(&mut file));
        csv.write_record(header).map_err(unwritten)?;
        for row in rows {
            csv.write_record(row).map_err(unwritten)?;
        }
        csv.flush().map_err(disk)?;
    }
    file.finish().map_err(disk)?;
    Ok(())
}
