//! The monitoring report of a period, section by section.
//!
//! The order is that in which ISO 14064-2:2019 (clause 6.13, MEMORY) asks for the contents of a
//! report on a project: who and why, the project, the baseline scenario, sources, sinks and
//! reservoirs, the method, what was monitored and with which data, the quantified result with
//! its doubt, and the state of verification. Every number that the statement computed carries a
//! reference; the list at the end leads from it to the node of the trace.

mod monitoring;
mod opening;
mod record;
mod results;
mod scenario;

use super::block::{Block, Document, Rich, Row, Span, Table, columns, plain};
use super::source::ReportSource;
use super::words;
use crate::accounting::statement::Figure;
use crate::accounting::trace::Node;

/// The report as blocks.
pub fn document(source: &ReportSource) -> Document {
    let statement = &source.statement;
    let mut writer = Writer::new(source);
    opening::write(&mut writer);
    scenario::write(&mut writer);
    monitoring::write(&mut writer);
    results::write(&mut writer);
    record::write(&mut writer);
    writer.index();
    Document {
        title: format!(
            "Monitoring report of {}, period {}",
            statement.programme.name, statement.period.code
        ),
        footer: format!(
            "{} \u{b7} {} \u{b7} {}",
            statement.programme.code,
            statement.period.code,
            source.standing()
        ),
        made_at: source.made_at.clone(),
        id: format!("{}/{}", source.statement_id, source.position),
        blocks: writer.blocks,
    }
}

/// Blocks under way, with the numbers that were given to nodes.
struct Writer<'s> {
    source: &'s ReportSource,
    blocks: Vec<Block>,
    sections: u32,
    /// Nodes in the order in which they were first named.
    cited: Vec<&'s Node>,
}

impl<'s> Writer<'s> {
    fn new(source: &'s ReportSource) -> Self {
        Writer {
            source,
            blocks: Vec::new(),
            sections: 0,
            cited: Vec::new(),
        }
    }

    fn put(&mut self, block: Block) {
        self.blocks.push(block);
    }

    fn section(&mut self, title: &str) {
        self.sections += 1;
        self.put(Block::heading(2, format!("{}. {title}", self.sections)));
    }

    fn under(&mut self, title: &str) {
        self.put(Block::heading(3, title));
    }

    fn say(&mut self, text: impl Into<String>) {
        self.put(Block::paragraph(text));
    }

    fn facts(&mut self, caption: &str, rows: Vec<(&str, Rich)>) {
        let rows = rows
            .into_iter()
            .map(|(name, value)| Row::new(vec![plain(name), value]))
            .collect();
        self.put(Block::Table(Table {
            caption: caption.to_owned(),
            columns: columns(&[("What", 1.0, false), ("As recorded", 2.6, false)]),
            rows,
        }));
    }

    fn table(&mut self, caption: &str, heads: &[(&str, f32, bool)], rows: Vec<Row>) {
        self.put(Block::Table(Table {
            caption: caption.to_owned(),
            columns: columns(heads),
            rows,
        }));
    }

    /// The reference of a node; none where the trace has no such node.
    fn cite(&mut self, node: &str) -> Option<Span> {
        let number = match self.cited.iter().position(|known| known.id == node) {
            Some(place) => place + 1,
            None => {
                self.cited.push(self.source.statement.trace.node(node)?);
                self.cited.len()
            }
        };
        Some(Span::quiet(format!("[{number}]")).leading_to(self.source.address_of(node)))
    }

    /// The reference as the cell of a table.
    fn cited_cell(&mut self, node: &str) -> Rich {
        self.cite(node).into_iter().collect()
    }

    /// A number in running text, with its reference.
    fn told(&mut self, figure: &Figure) -> Rich {
        let value = format!("{} {}", words::figure(figure.value), unit(&figure.unit));
        let mut rich = vec![Span::strong(value.trim_end().to_owned())];
        if let Some(reference) = self.cite(&figure.node) {
            rich.push(Span::plain(" "));
            rich.push(reference);
        }
        rich
    }

    /// Figures one a row, with their intervals.
    fn figures(&mut self, caption: &str, figures: &[&'s Figure]) {
        let rows: Vec<Row> = figures
            .iter()
            .map(|figure| {
                let reference = self.cited_cell(&figure.node);
                Row::new(vec![
                    plain(words::capital(&words::label(&figure.label))),
                    plain(words::figure(figure.value)),
                    plain(interval(figure)),
                    plain(unit(&figure.unit)),
                    reference,
                ])
            })
            .collect();
        if !rows.is_empty() {
            self.table(caption, &FIGURE_HEADS, rows);
        }
    }

    /// Every reference that was given, with the node that it stands for.
    fn index(&mut self) {
        self.section("Index of references");
        let how = match &self.source.base {
            Some(base) => format!(
                "Each reference in brackets is a node of the statement's trace; it leads to the \
                 page of the trace at {base}, where the node opens down to rows and factors."
            ),
            None => "Each reference in brackets is a node of the statement's trace. Its page is \
                 that of the statement's trace with the id of the node."
                .to_owned(),
        };
        self.say(how);
        let rows = self
            .cited
            .iter()
            .enumerate()
            .map(|(place, node)| {
                let link = self.source.address_of(&node.id);
                Row::new(vec![
                    plain((place + 1).to_string()),
                    vec![Span::plain(node.id.clone()).leading_to(link)],
                    plain(words::capital(&words::label(&node.label))),
                    plain(words::precise(node.value)),
                    plain(unit(&node.unit)),
                ])
            })
            .collect();
        self.table(
            "References, by number",
            &[
                ("No.", 0.45, true),
                ("Id of the node", 3.3, false),
                ("What it is", 3.0, false),
                ("Value", 1.3, true),
                ("Unit", 1.6, false),
            ],
            rows,
        );
    }

    fn figure(&self, id: &str) -> Option<&'s Figure> {
        self.source.statement.figure(id)
    }

    /// Figures by id, those that the statement has.
    fn named(&self, ids: &[&str]) -> Vec<&'s Figure> {
        ids.iter().filter_map(|id| self.figure(id)).collect()
    }
}

const FIGURE_HEADS: [(&str, f32, bool); 5] = [
    ("Figure", 4.3, false),
    ("Value", 1.3, true),
    ("Interval", 2.3, true),
    ("Unit", 2.0, false),
    ("Ref.", 0.6, false),
];

/// `301 to 958`, or that there is no doubt.
fn interval(figure: &Figure) -> String {
    if figure.lower == figure.upper {
        return "counted".to_owned();
    }
    words::figure_bounds(figure.lower, figure.value, figure.upper)
}

/// Units as the pages write them; a ratio has none.
fn unit(unit: &str) -> String {
    match unit {
        "1" => "ratio".to_owned(),
        other => words::unit(other),
    }
}

/// `1 batch`, `3 batches`: a count with its noun.
fn counted(count: u64, one: &str, more: &str) -> String {
    let noun = if count == 1 { one } else { more };
    format!("{} {noun}", words::count(count))
}
