//! Names and rows of a sheet that are not the template's own: a programme's names for the
//! columns, the column that a marked file adds, the row that is an example.

use crate::intake::header::words_of;
use crate::intake::privacy::personal_column;
use crate::intake::rejection::shown;
use crate::intake::template::Template;
use std::collections::{BTreeMap, HashSet};

/// Heading of the column that a marked file adds; on the way in it is passed over.
pub const WHAT_IS_WRONG: &str = "what is wrong";

/// How the first cell of an example row begins. No code may hold a colon, so that no row of
/// data can be taken for an example.
pub(in crate::intake) const EXAMPLE: &str = "example:";

/// Names that one mapping may hold.
const NAMES_MAX: usize = 256;
/// Characters of one name.
const NAME_CHARS_MAX: usize = 200;

/// A programme's own column names, each with the template's name for it.
pub type ColumnMapping = BTreeMap<String, String>;

/// By which names a header is read.
#[derive(Debug, Clone, Copy, Default)]
pub struct Naming<'a> {
    pub mapping: Option<&'a ColumnMapping>,
    /// Whether the mapping holds even where the header fits the template without it.
    pub always: bool,
}

pub(in crate::intake) fn is_mark(name: &str) -> bool {
    name.strip_prefix(WHAT_IS_WRONG)
        .is_some_and(|rest| rest.is_empty() || rest.starts_with(':'))
}

pub(in crate::intake) fn is_example(first_cell: &str) -> bool {
    first_cell
        .trim_start()
        .get(..EXAMPLE.len())
        .is_some_and(|start| start.eq_ignore_ascii_case(EXAMPLE))
}

/// What speaks against a mapping, each with the column name of the programme that it is about.
pub fn mapping_faults(template: &Template, mapping: &ColumnMapping) -> Vec<(String, String)> {
    let mut faults = Vec::new();
    let whole = |detail: String| vec![("columns".to_owned(), detail)];
    if mapping.is_empty() {
        return whole("must name at least one column".into());
    }
    if mapping.len() > NAMES_MAX {
        return whole(format!("may name at most {NAMES_MAX} columns"));
    }
    let mut taken = HashSet::new();
    for (own, meant) in mapping {
        let short: String = own.chars().take(64).collect();
        let mut say = |detail: String| faults.push((short.clone(), detail));
        let plain = !own.chars().any(char::is_control);
        if own.trim().is_empty() || !plain || own.chars().count() > NAME_CHARS_MAX {
            say(format!(
                "must be a column name of 1 to {NAME_CHARS_MAX} characters on one line"
            ));
        } else if let Some(fault) = personal_column(own, &words_of(own)) {
            say(fault.detail);
        } else if template.column(meant).is_none() {
            say(format!(
                "stands for {}, which is not a column of this template; its columns are {}",
                shown(meant),
                template.header()
            ));
        } else if !taken.insert(meant.as_str()) {
            say(format!(
                "stands for {} as another column does",
                shown(meant)
            ));
        }
    }
    faults
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::intake::BatchKind;

    #[test]
    fn a_mapping_is_refused_by_the_name_that_is_wrong() {
        let template = BatchKind::DeploymentEnds.template();
        let faults = |pairs: &[(&str, &str)]| -> Vec<String> {
            let own = |(own, meant): &(&str, &str)| ((*own).to_owned(), (*meant).to_owned());
            let mapping = pairs.iter().map(own).collect();
            let faults = mapping_faults(template, &mapping);
            faults.into_iter().map(|(name, _)| name).collect()
        };
        assert!(faults(&[("Numéro de série", "serial"), ("Fin", "ended_on")]).is_empty());
        assert_eq!(faults(&[]), ["columns"]);
        assert_eq!(faults(&[("Fin", "finished")]), ["Fin"]);
        assert_eq!(faults(&[("A", "serial"), ("B", "serial")]), ["B"]);
        assert_eq!(faults(&[("Téléphone", "serial")]), ["Téléphone"]);
        assert_eq!(faults(&[("A\nB", "serial")]), ["A\nB"]);
    }

    #[test]
    fn an_example_is_told_by_its_first_cell() {
        assert!(is_example("example: HH-0001") && is_example(" Example:HH-1"));
        assert!(!is_example("example-1") && !is_example("HH-1") && !is_example("é"));
    }
}
