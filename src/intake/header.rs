//! The header of a file: exact names in any order, and a hint for each name that is not one.

use crate::intake::lexer::delimiter;
use crate::intake::naming::{Naming, is_mark};
use crate::intake::privacy::personal_column;
use crate::intake::rejection::{Fault, Rejection, Rejections, code, shown};
use crate::intake::template::{Column, Template};
use crate::intake::value::refuse_stray_space;
use std::collections::HashSet;

/// Names that are looked at one by one; a header with more is not one of ours.
const NAMES_MAX: usize = 256;

/// Which column of the template each column of the file is.
pub(in crate::intake) struct Header {
    /// In the order of the file; absent where the column is the one that a marked file adds.
    columns: Vec<Option<usize>>,
    /// Names as the file writes them, in the order of the template.
    own_names: Vec<String>,
}

impl Header {
    pub fn column(&self, at: usize) -> Option<usize> {
        self.columns.get(at).copied().flatten()
    }

    /// Columns of the file, those that are passed over too.
    pub fn len(&self) -> usize {
        self.columns.len()
    }

    /// Names as the file writes them, in the order of the template.
    pub fn into_own_names(self) -> Vec<String> {
        self.own_names
    }
}

/// Matches the names of a file's header with the template, by the programme's own names where
/// these are asked for or the header does not fit without them.
pub(in crate::intake) fn read_header(
    template: &Template,
    line: u64,
    names: &[&str],
    naming: &Naming<'_>,
) -> Result<Header, Rejections> {
    let plain = || match_names(template, line, names, names);
    let Some(mapping) = naming.mapping else {
        return plain();
    };
    if !naming.always
        && let Ok(header) = plain()
    {
        return Ok(header);
    }
    let ours: Vec<&str> = names
        .iter()
        .map(|name| mapping.get(*name).map_or(*name, String::as_str))
        .collect();
    match_names(template, line, &ours, names)
}

/// Rows below a refused first one that are looked at for the header.
pub(in crate::intake) const ROWS_LOOKED_AT: usize = 10;

/// The fault of a file whose first row is no header, where the row on `line` is one: it names
/// half of the columns that must be there.
pub(in crate::intake) fn header_below(
    template: &Template,
    line: u64,
    names: &[&str],
    naming: &Naming<'_>,
) -> Option<Rejection> {
    let ours = |name: &&str| match naming.mapping.and_then(|mapping| mapping.get(*name)) {
        Some(ours) => template.column(ours).is_some(),
        None => template.column(without_unit(template, name)).is_some(),
    };
    let found = names.iter().filter(|name| ours(name)).count();
    let needed = template.columns.iter().filter(|column| column.required);
    if found < 2 || found * 2 < needed.count() {
        return None;
    }
    let detail = format!(
        "the header stands on row {line}, below other rows; delete the rows above it, so that it \
         is the first"
    );
    Some(Fault::new(code::HEADER_PLACE, detail).at_line(line))
}

/// `names` as they are meant, `written` as they stand in the file.
fn match_names(
    template: &Template,
    line: u64,
    names: &[&str],
    written: &[&str],
) -> Result<Header, Rejections> {
    if let [only] = names
        && let Some(fault) = other_delimiter(only)
    {
        return Err(fault.at_line(line).into());
    }
    if names.len() > NAMES_MAX {
        let detail = format!(
            "the header has {} columns; the columns of this template are {}",
            names.len(),
            template.header()
        );
        return Err(Fault::new(code::UNKNOWN_COLUMN, detail)
            .at_line(line)
            .into());
    }
    let names: Vec<&str> = names
        .iter()
        .map(|name| without_unit(template, name))
        .collect();
    let given: HashSet<&str> = names.iter().copied().collect();
    let absent: Vec<&Column> = template
        .columns
        .iter()
        .filter(|column| !given.contains(column.name))
        .collect();
    let mut rejections = Rejections::new();
    let mut columns = Vec::with_capacity(names.len());
    let mut own_names = vec![String::new(); template.columns.len()];
    let mut seen = HashSet::new();
    let mut hinted = HashSet::new();
    for (name, written) in names.iter().zip(written) {
        let fault = match template.column(name) {
            Some(index) if seen.insert(*name) => {
                columns.push(Some(index));
                if let Some(own) = own_names.get_mut(index) {
                    *own = (*written).to_owned();
                }
                continue;
            }
            None if is_mark(name) => {
                columns.push(None);
                continue;
            }
            Some(_) => Fault::new(
                code::DUPLICATE_COLUMN,
                format!("column {} stands in the header more than once", shown(name)),
            ),
            None => {
                let (fault, likely) = unknown_column(template, &absent, name);
                hinted.extend(likely);
                fault
            }
        };
        rejections.push(named(fault, line, written));
    }
    for column in absent {
        if !hinted.contains(column.name) && !column.may_be_left_out() {
            let detail = format!(
                "column {} is missing; the columns of this template are {}",
                shown(column.name),
                template.header()
            );
            rejections.push(Fault::new(code::MISSING_COLUMN, detail).at(line, column.name));
        }
    }
    if rejections.is_empty() {
        Ok(Header { columns, own_names })
    } else {
        Err(rejections)
    }
}

/// A name as the template writes it: a workbook's header adds the unit, `char_wet_kg [kg wet]`.
fn without_unit<'a>(template: &Template, name: &'a str) -> &'a str {
    let parts = name
        .strip_suffix(']')
        .and_then(|name| name.split_once(" ["));
    let Some((stem, unit)) = parts else {
        return name;
    };
    let column = template.columns.iter().find(|column| column.name == stem);
    if column.is_some_and(|column| column.unit == Some(unit)) {
        stem
    } else {
        name
    }
}

/// A header's own name for a column may be of any length; the rejection carries its start.
fn named(fault: Fault, line: u64, name: &str) -> Rejection {
    let short: String = name.chars().take(64).collect();
    if short.is_empty() {
        fault.at_line(line)
    } else {
        fault.at(line, &short)
    }
}

fn other_delimiter(only: &str) -> Option<Fault> {
    if only.contains(';') {
        Some(delimiter("semicolons"))
    } else if only.contains('\t') {
        Some(delimiter("tabs"))
    } else {
        None
    }
}

/// The fault of a name that the template does not have, and the one column it surely stands for.
fn unknown_column(
    template: &Template,
    absent: &[&Column],
    name: &str,
) -> (Fault, Option<&'static str>) {
    if name.is_empty() {
        let detail = "a column has no name; delete it or name it as in the template";
        return (Fault::new(code::UNNAMED_COLUMN, detail), None);
    }
    if let Err(fault) = refuse_stray_space(name) {
        let meant = absent.iter().find(|column| column.name == name.trim());
        return (fault, meant.map(|column| column.name));
    }
    let words = words_of(name);
    if let Some(fault) = personal_column(name, &words) {
        return (fault, None);
    }
    let Some((code, reason, likely)) = guess(absent, &words) else {
        let detail = format!(
            "{} is not a column of this template; its columns are {}",
            shown(name),
            template.header()
        );
        return (Fault::new(code::UNKNOWN_COLUMN, detail), None);
    };
    let meant: Vec<String> = likely.iter().map(|column| with_unit(column)).collect();
    let detail = format!("{} {reason}: write {}", shown(name), meant.join(" or "));
    let sure = match likely.as_slice() {
        [only] => Some(only.name),
        _ => None,
    };
    (Fault::new(code, detail), sure)
}

fn with_unit(column: &Column) -> String {
    match column.unit {
        Some(unit) => format!("{} ({unit})", shown(column.name)),
        None => shown(column.name),
    }
}

/// Words of a column name that say in what it is measured.
const UNIT_WORDS: &[&str] = &[
    "kg",
    "kilo",
    "kilos",
    "g",
    "gram",
    "grams",
    "mg",
    "t",
    "tonne",
    "tonnes",
    "ton",
    "tons",
    "lb",
    "lbs",
    "pound",
    "pounds",
    "percent",
    "percentage",
    "pct",
    "fraction",
    "wb",
    "db",
    "wet",
    "dry",
    "c",
    "celsius",
    "f",
    "fahrenheit",
    "mj",
    "kj",
    "kcal",
];

/// The missing columns that a name may stand for, with code and reason.
fn guess<'a>(
    absent: &[&'a Column],
    words: &[String],
) -> Option<(&'static str, &'static str, Vec<&'a Column>)> {
    let (units, stem) = split_units(words);
    let within = |some: &[&str], all: &[&str]| some.iter().all(|word| all.contains(word));
    let candidates = |accept: &dyn Fn(&[&str], &[&str]) -> bool| -> Vec<&'a Column> {
        let fits = |column: &&'a Column| {
            let own = words_of(column.name);
            let (own_units, own_stem) = split_units(&own);
            !stem.is_empty() && accept(&own_units, &own_stem)
        };
        absent.iter().copied().filter(fits).collect()
    };
    let unknown = "is not a column of this template";
    let same_name = candidates(&|own_units, own_stem| own_stem == stem && own_units == units);
    if !same_name.is_empty() {
        return Some((
            code::UNKNOWN_COLUMN,
            "is not written as in the template",
            same_name,
        ));
    }
    let same_stem = candidates(&|own_units, own_stem| !own_units.is_empty() && own_stem == stem);
    let part_of_stem =
        candidates(&|own_units, own_stem| !own_units.is_empty() && within(&stem, own_stem));
    let measured = if same_stem.is_empty() {
        part_of_stem
    } else {
        same_stem
    };
    if measured.is_empty() {
        let named = candidates(&|_, own_stem| within(&stem, own_stem));
        return (!named.is_empty()).then_some((code::UNKNOWN_COLUMN, unknown, named));
    }
    let own_words: HashSet<String> = measured
        .iter()
        .flat_map(|column| words_of(column.name))
        .collect();
    if units.iter().any(|unit| !own_words.contains(*unit)) {
        return Some((code::WRONG_UNIT, "names another unit or basis", measured));
    }
    let complete = measured.iter().any(|column| {
        let own = words_of(column.name);
        within(&split_units(&own).0, &units)
    });
    if complete {
        Some((code::UNKNOWN_COLUMN, unknown, measured))
    } else {
        Some((
            code::UNIT_MISSING,
            "lacks its unit or the basis of it",
            measured,
        ))
    }
}

fn split_units(words: &[String]) -> (Vec<&str>, Vec<&str>) {
    words
        .iter()
        .map(String::as_str)
        .partition(|word| UNIT_WORDS.contains(word))
}

/// Letters, digits, and the marks that stand on letters.
fn is_of_word(character: char) -> bool {
    const VIRAMA: char = '\u{94d}';
    let is_accent = ('\u{300}'..='\u{36f}').contains(&character);
    character.is_alphanumeric() || is_accent || character == VIRAMA
}

/// The words of a column name in small letters: `Household-Code`, `householdCode` and
/// `household code` are all `household`, `code`.
pub(in crate::intake) fn words_of(name: &str) -> Vec<String> {
    let mut words = vec![String::new()];
    let mut after_small = false;
    for character in name.chars() {
        let starts_word = character.is_uppercase() && after_small;
        if (starts_word || !is_of_word(character))
            && words.last().is_some_and(|word| !word.is_empty())
        {
            words.push(String::new());
        }
        if is_of_word(character)
            && let Some(word) = words.last_mut()
        {
            word.extend(character.to_lowercase());
        }
        after_small = character.is_lowercase() || character.is_numeric();
    }
    words.retain(|word| !word.is_empty());
    words
}
