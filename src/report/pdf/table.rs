//! Tables: columns that line up, a head that comes again on each page, rows that stay whole.

use super::canvas::{BLACK, BOTTOM, Canvas, GREY, LEFT, PALE, RIGHT, TOP};
use super::fonts::Fonts;
use super::layout::small;
use super::tags::{Part, Role, Tags};
use super::text::{CELL, Line, Setting, lines};
use crate::report::block::{Row, Table, plain};

/// Between the columns, and above and below the lines of a row.
const GUTTER: f32 = 8.0;
const AIR: f32 = 2.6;
const CAPTION_LEADING: f32 = 12.5;

const HEAD: Setting = Setting {
    size: 7.8,
    leading: 9.8,
    strong: true,
};

/// A row broken into lines, cell by cell.
struct SetRow {
    cells: Vec<Vec<Line>>,
    height: f32,
}

/// Room below which not even the beginning of a tall row is set.
const LEAST_ROOM: f32 = 60.0;

impl SetRow {
    /// Keeps as many lines as have room, and gives back the others.
    fn part_at(&mut self, room: f32) -> Option<SetRow> {
        if self.height <= room {
            return None;
        }
        let lines = ((room - 2.0 * AIR) / CELL.leading).floor().max(1.0) as usize;
        let rest: Vec<Vec<Line>> = self
            .cells
            .iter_mut()
            .map(|cell| cell.split_off(lines.min(cell.len())))
            .collect();
        let kept = measured(std::mem::take(&mut self.cells), CELL);
        *self = kept;
        rest.iter()
            .any(|cell| !cell.is_empty())
            .then(|| measured(rest, CELL))
    }
}

/// Left edge and width of each column.
fn places(table: &Table) -> Vec<(f32, f32)> {
    let whole: f32 = table.columns.iter().map(|column| column.weight).sum();
    let gutters = GUTTER * table.columns.len().saturating_sub(1) as f32;
    let free = RIGHT - LEFT - gutters;
    let mut at = LEFT;
    table
        .columns
        .iter()
        .map(|column| {
            let width = free * column.weight / whole.max(f32::MIN_POSITIVE);
            let place = (at, width);
            at += width + GUTTER;
            place
        })
        .collect()
}

fn head(fonts: &Fonts, table: &Table) -> SetRow {
    let cells = table
        .columns
        .iter()
        .zip(places(table))
        .map(|(column, (_, width))| lines(fonts, &plain(&column.title), HEAD, width))
        .collect();
    measured(cells, HEAD)
}

fn set_row(fonts: &Fonts, table: &Table, row: &Row) -> SetRow {
    let setting = Setting {
        strong: row.strong,
        ..CELL
    };
    let cells = row
        .cells
        .iter()
        .zip(places(table))
        .map(|(cell, (_, width))| {
            let set = lines(fonts, cell, setting, width);
            if set.is_empty() {
                // A cell without anything drawn would be missing from the reading order.
                return lines(fonts, &plain(" "), setting, width);
            }
            set
        })
        .collect();
    measured(cells, setting)
}

fn measured(cells: Vec<Vec<Line>>, setting: Setting) -> SetRow {
    let most = cells.iter().map(Vec::len).max().unwrap_or(0).max(1);
    SetRow {
        cells,
        height: most as f32 * setting.leading + 2.0 * AIR,
    }
}

fn caption_height(fonts: &Fonts, table: &Table) -> f32 {
    small(fonts, &table.caption).len() as f32 * CAPTION_LEADING + 3.0
}

/// Caption, head and the first two rows.
pub(super) fn least(fonts: &Fonts, table: &Table) -> f32 {
    let rows = table.rows.iter().take(2);
    let rows: f32 = rows.map(|row| set_row(fonts, table, row).height).sum();
    caption_height(fonts, table) + head(fonts, table).height + rows
}

pub(super) fn set(canvas: &mut Canvas, fonts: &Fonts, table: &Table) {
    canvas.need(least(fonts, table).min(BOTTOM - TOP));
    let part = canvas.tags.part(Tags::ROOT, Role::Table);
    let caption = canvas.tags.part(part, Role::Caption);
    for line in small(fonts, &table.caption) {
        let y = canvas.y + 9.0;
        line.draw(canvas, caption, LEFT, y);
        canvas.y += CAPTION_LEADING;
    }
    canvas.y += 3.0;
    let columns = places(table);
    let head_part = canvas.tags.part(part, Role::Head);
    let head_row = canvas.tags.part(head_part, Role::Row);
    draw_head(canvas, fonts, table, &columns, Some(head_row));
    let body = canvas.tags.part(part, Role::Body);
    for row in &table.rows {
        let mut set = set_row(fonts, table, row);
        let parts = parts_of_row(canvas, body, table.columns.len());
        // A row taller than half a page is parted; every other one stays whole.
        let whole = set.height <= (BOTTOM - TOP) / 2.0;
        loop {
            let room = BOTTOM - canvas.y;
            if set.height > room && (whole || room < LEAST_ROOM) {
                canvas.turn();
                draw_head(canvas, fonts, table, &columns, None);
            }
            let rest = set.part_at(BOTTOM - canvas.y);
            draw_row(canvas, table, &columns, set, (&parts, row.strong));
            match rest {
                Some(more) => set = more,
                None => break,
            }
        }
    }
    canvas.rule(canvas.y, 0.8, BLACK);
    canvas.y += 12.0;
}

/// The head; on later pages of the table it is no part of the reading order.
fn draw_head(
    canvas: &mut Canvas,
    fonts: &Fonts,
    table: &Table,
    columns: &[(f32, f32)],
    part: Option<Part>,
) {
    canvas.rule(canvas.y, 0.8, BLACK);
    let set = head(fonts, table);
    let height = set.height;
    // Heads stand on the line below them.
    let floor = canvas.y + height - AIR;
    for ((cell, column), (x, width)) in set.cells.into_iter().zip(&table.columns).zip(columns) {
        let cell_part = part.map(|row| canvas.tags.part(row, Role::ColumnHeading));
        let top = floor - cell.len() as f32 * HEAD.leading;
        for (line, y) in cell.into_iter().zip(steps(top + HEAD.size, HEAD.leading)) {
            let at = if column.right {
                x + width - line.width
            } else {
                *x
            };
            match cell_part {
                Some(part) => line.draw(canvas, part, at, y),
                None => line.draw_apart(canvas, at, y),
            }
        }
    }
    canvas.y += height;
    canvas.rule(canvas.y, 0.5, GREY);
}

/// A row of the reading order with its cells.
fn parts_of_row(canvas: &mut Canvas, body: Part, cells: usize) -> Vec<Part> {
    let row = canvas.tags.part(body, Role::Row);
    (0..cells)
        .map(|index| {
            let role = match index {
                0 => Role::RowHeading,
                _ => Role::Cell,
            };
            canvas.tags.part(row, role)
        })
        .collect()
}

fn draw_row(
    canvas: &mut Canvas,
    table: &Table,
    columns: &[(f32, f32)],
    set: SetRow,
    (parts, strong): (&[Part], bool),
) {
    if strong {
        canvas.rule(canvas.y, 0.5, GREY);
    }
    let top = canvas.y + AIR + CELL.size;
    let cells = set.cells.into_iter().zip(&table.columns).zip(columns);
    for (((cell, column), (x, width)), part) in cells.zip(parts) {
        for (line, y) in cell.into_iter().zip(steps(top, CELL.leading)) {
            let at = if column.right {
                x + width - line.width
            } else {
                *x
            };
            line.draw(canvas, *part, at, y);
        }
    }
    canvas.y += set.height;
    canvas.rule(canvas.y, 0.3, PALE);
}

fn steps(first: f32, leading: f32) -> impl Iterator<Item = f32> {
    (0_u16..).map(move |step| first + f32::from(step) * leading)
}
