//! The tables of drawn rounds in the export: frames, seeds, draws.

use super::{disk, unwritten};
use crate::intake::neutral;
use crate::service::drawn_rounds::steps_of;
use crate::service::{Caller, ServiceError};
use crate::store;
use crate::trail::bag::BagWriter;
use crate::verify::layout;
use sqlx::PgConnection;
use std::io::Write;

/// Writes the three tables, round after round in the order in which they were planned.
pub(super) async fn write(
    connection: &mut PgConnection,
    caller: &Caller,
    position: u64,
    bag: &mut BagWriter,
) -> Result<(), ServiceError> {
    let programme = caller.programme_id;
    let rounds = store::drawn_rounds::planned(connection, programme, position).await?;
    let mut file = bag.payload(layout::ROUND_FRAMES).map_err(disk)?;
    let mut table = Table::open(&mut file, &layout::frame_header())?;
    for round in &rounds {
        for unit in store::drawn_rounds::frame(connection, programme, round).await? {
            table.write(round, &unit.cells())?;
        }
    }
    table.close()?;
    file.finish().map_err(disk)?;
    let mut file = bag.payload(layout::ROUND_SEEDS).map_err(disk)?;
    let mut table = Table::open(&mut file, &layout::seed_header())?;
    for round in &rounds {
        let steps = steps_of(connection, caller, round).await?;
        if let (Some((_, framed)), Some((_, seeded))) = (steps.frame, steps.seed) {
            let size = seeded.tree_size.to_string();
            let (words, source) = (neutral(&seeded.words), neutral(&seeded.source));
            let (frame, root, seed) = (framed.sha256, &seeded.root, &seeded.seed);
            table.write(round, &[&frame, &size, root, &*words, &*source, seed])?;
        }
    }
    table.close()?;
    file.finish().map_err(disk)?;
    let mut file = bag.payload(layout::ROUND_DRAWS).map_err(disk)?;
    let mut table = Table::open(&mut file, &layout::draw_header())?;
    for round in &rounds {
        for unit in store::drawn_rounds::draw(connection, programme, round).await? {
            table.write(round, &unit.cells())?;
        }
    }
    table.close()?;
    file.finish().map_err(disk)?;
    Ok(())
}

/// A table under way, each row with its round before it.
struct Table<W: Write>(csv::Writer<W>);

impl<W: Write> Table<W> {
    fn open(out: W, header: &[&str]) -> Result<Self, ServiceError> {
        let mut csv = csv::WriterBuilder::new()
            .terminator(csv::Terminator::Any(b'\n'))
            .from_writer(out);
        csv.write_record(header).map_err(unwritten)?;
        Ok(Table(csv))
    }

    fn write<C: AsRef<str>>(&mut self, round: &str, cells: &[C]) -> Result<(), ServiceError> {
        let cells = cells.iter().map(AsRef::as_ref);
        self.0
            .write_record(std::iter::once(round).chain(cells))
            .map_err(unwritten)
    }

    fn close(mut self) -> Result<(), ServiceError> {
        self.0.flush().map_err(disk)
    }
}
