//! The header of a file: exact names in any order, and a hint for each name that is not one.

use crate::intake::lexer::delimiter;
use crate::intake::rejection::{Fault, Rejection, Rejections, code, shown};
use crate::intake::template::{Column, Template};
use crate::intake::value::refuse_stray_space;
use std::collections::HashSet;

/// Names that are looked at one by one; a header with more is not one of ours.
const NAMES_MAX: usize = 256;

/// Which column of the template each column of the file is.
pub(in crate::intake) struct Header(Vec<usize>);

impl Header {
    /// Columns of the file.
    pub fn width(&self) -> usize {
        self.0.len()
    }

    pub fn column(&self, at: usize) -> Option<usize> {
        self.0.get(at).copied()
    }
}

/// Matches the names of a file's header with the template.
pub(in crate::intake) fn read_header(
    template: &Template,
    line: u64,
    names: &[&str],
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
    let given: HashSet<&str> = names.iter().copied().collect();
    let absent: Vec<&Column> = template
        .columns
        .iter()
        .filter(|column| !given.contains(column.name))
        .collect();
    let mut rejections = Rejections::new();
    let mut order = Vec::with_capacity(template.columns.len());
    let mut seen = HashSet::new();
    let mut hinted = HashSet::new();
    for name in names {
        let fault = match template.column(name) {
            Some(index) if seen.insert(*name) => {
                order.push(index);
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
        rejections.push(named(fault, line, name));
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
        Ok(Header(order))
    } else {
        Err(rejections)
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
    if let Some(what) = personal_data(&words) {
        let detail = format!(
            "{} looks like {what}: data that points to a person is never taken; \
             use the programme's own codes and delete the column",
            shown(name)
        );
        return (Fault::new(code::PERSONAL_DATA, detail), None);
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

/// The words of a column name in small letters: `Household-Code`, `householdCode` and
/// `household code` are all `household`, `code`.
fn words_of(name: &str) -> Vec<String> {
    let mut words = vec![String::new()];
    let mut after_small = false;
    for character in name.chars() {
        let starts_word = character.is_uppercase() && after_small;
        if (starts_word || !character.is_alphanumeric())
            && words.last().is_some_and(|word| !word.is_empty())
        {
            words.push(String::new());
        }
        if character.is_alphanumeric()
            && let Some(word) = words.last_mut()
        {
            word.extend(character.to_lowercase());
        }
        after_small = character.is_lowercase() || character.is_numeric();
    }
    words.retain(|word| !word.is_empty());
    words
}

/// What of a person the name of a column points to.
fn personal_data(words: &[String]) -> Option<&'static str> {
    const KINDS: &[(&str, &[&str])] = &[
        (
            "a person's name",
            &[
                "name",
                "names",
                "surname",
                "firstname",
                "lastname",
                "fullname",
                "nom",
                "prenom",
                "nome",
                "nombre",
                "jina",
                "head",
                "respondent",
                "owner",
            ],
        ),
        (
            "a telephone number",
            &[
                "phone",
                "phones",
                "mobile",
                "tel",
                "telephone",
                "cellphone",
                "whatsapp",
                "msisdn",
                "simu",
            ],
        ),
        (
            "an address",
            &["address", "addresses", "street", "email", "mail", "plot"],
        ),
        (
            "an exact position",
            &[
                "gps",
                "lat",
                "latitude",
                "lon",
                "lng",
                "long",
                "longitude",
                "coordinate",
                "coordinates",
                "coords",
                "geopoint",
                "geolocation",
                "position",
                "altitude",
            ],
        ),
        (
            "a mark of one person",
            &[
                "birth",
                "birthday",
                "birthdate",
                "dob",
                "passport",
                "nid",
                "photo",
                "signature",
            ],
        ),
    ];
    /// Parts that betray a compound such as `householdphonenumber`.
    const PARTS: &[(&str, &str)] = &[
        ("phone", "a telephone number"),
        ("latitude", "an exact position"),
        ("longitude", "an exact position"),
        ("firstname", "a person's name"),
        ("surname", "a person's name"),
    ];
    // A place or a product may have a name; a person's is what must stay out.
    const THINGS: &[&str] = &[
        "site",
        "village",
        "laboratory",
        "lab",
        "dish",
        "model",
        "stove",
        "fuel",
        "device",
        "programme",
    ];
    if words.iter().any(|word| THINGS.contains(&word.as_str())) {
        return None;
    }
    let listed = KINDS
        .iter()
        .find(|(_, list)| words.iter().any(|word| list.contains(&word.as_str())));
    listed.map(|(what, _)| *what).or_else(|| {
        let part = |(part, _): &&(&str, &str)| words.iter().any(|word| word.contains(part));
        PARTS.iter().find(part).map(|(_, what)| *what)
    })
}
