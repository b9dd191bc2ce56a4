//! A filled-in form: bounded XML without document type, to the cell texts of one row.
//!
//! The one entity that XML lets a document define stands in its document type, so that
//! refusing document types refuses every expansion; size and number of nodes are bounded
//! before any of it is looked at. What the form did not ask is refused, but for metadata,
//! which is not kept.

use super::FormId;
use crate::intake::rejection::{Fault, Rejection, code, shown};
use crate::intake::template::{Column, ValueRule};
use roxmltree::{Document, Error, Node, ParsingOptions};
use rust_decimal::Decimal;

/// Bytes that the XML of one filled-in form may have: a row of the widest template needs
/// about two thousand.
pub const SUBMISSION_BYTES_MAX: usize = 64 * 1024;

/// Elements, texts and comments that it may have.
const NODES_MAX: u32 = 1_000;

const INSTANCE_ID_MAX: usize = 100;

/// A filled-in form, its answers not yet checked.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Submission {
    pub form: FormId,
    /// Names this filling-in; a phone that sends it again sends the same.
    pub instance_id: String,
    /// Cell texts in the order of the template; empty where a question was left open.
    pub texts: Vec<String>,
}

/// Reads a filled-in form.
///
/// # Errors
/// What makes it unreadable, or every question that is unknown, repeated or not a plain
/// answer. The answers themselves are checked later, by the rules of their columns.
pub fn read_submission(bytes: &[u8]) -> Result<Submission, Vec<Rejection>> {
    let alone = |fault: Fault| vec![fault.of_file()];
    let text = admitted(bytes).map_err(alone)?;
    let options = ParsingOptions {
        allow_dtd: false,
        nodes_limit: NODES_MAX,
        ..ParsingOptions::default()
    };
    let document = Document::parse_with_options(text, options)
        .map_err(|error| vec![unreadable(&error).of_file()])?;
    let root = document.root_element();
    let form = form_of(root).map_err(alone)?;
    let columns = form.kind.template().columns;
    let mut answers: Vec<Option<String>> = vec![None; columns.len()];
    let mut meta = None;
    let mut rejections = Vec::new();
    for node in root.children() {
        if node.is_element() && node.tag_name().name() == "meta" {
            if meta.replace(node).is_some() {
                rejections.push(repeated("meta").of_file());
            }
        } else if let Err(rejection) = take_answer(node, columns, &mut answers) {
            rejections.push(rejection);
        }
    }
    let instance_id = match instance_id(meta) {
        Ok(id) => id,
        Err(fault) => {
            rejections.push(fault.of_file());
            String::new()
        }
    };
    if !rejections.is_empty() {
        return Err(rejections);
    }
    Ok(Submission {
        form,
        instance_id,
        texts: answers.into_iter().map(Option::unwrap_or_default).collect(),
    })
}

/// UTF-8 of bounded size, without the mark that may stand before it.
fn admitted(bytes: &[u8]) -> Result<&str, Fault> {
    if bytes.len() > SUBMISSION_BYTES_MAX {
        let detail = format!(
            "the filled-in form has {} bytes; at most {SUBMISSION_BYTES_MAX} are taken",
            bytes.len()
        );
        return Err(Fault::new(code::FORM_TOO_LARGE, detail));
    }
    let text = std::str::from_utf8(bytes)
        .map_err(|_| Fault::new(code::NOT_UTF8, "the filled-in form is not UTF-8"))?;
    Ok(text.strip_prefix('\u{feff}').unwrap_or(text))
}

fn unreadable(error: &Error) -> Fault {
    match error {
        Error::DtdDetected => Fault::new(
            code::DOCUMENT_TYPE,
            "the filled-in form has a document type, which could define entities; \
             none is taken",
        ),
        Error::NodesLimitReached
        | Error::AttributesLimitReached
        | Error::NamespacesLimitReached => Fault::new(
            code::FORM_TOO_LARGE,
            "the filled-in form has more parts than any of these forms",
        ),
        other => Fault::new(
            code::NOT_XML,
            format!("the filled-in form is not well-formed XML: {other}"),
        ),
    }
}

fn form_of(root: Node<'_, '_>) -> Result<FormId, Fault> {
    let named = root.attribute("id").ok_or_else(|| {
        Fault::new(
            code::UNKNOWN_FORM,
            "the filled-in form does not say which form it is: its first element has no id",
        )
    })?;
    named.parse().map_err(|_| {
        let detail = format!(
            "{} is the name of no form: load the list of forms anew",
            shown(named)
        );
        Fault::new(code::UNKNOWN_FORM, detail)
    })
}

fn take_answer(
    node: Node<'_, '_>,
    columns: &[Column],
    answers: &mut [Option<String>],
) -> Result<(), Rejection> {
    if !node.is_element() {
        return match node.text() {
            Some(text) if node.is_text() && !text.trim().is_empty() => {
                let detail = format!("{} stands outside of every question", shown(text.trim()));
                Err(Fault::new(code::UNKNOWN_QUESTION, detail).of_file())
            }
            _ => Ok(()),
        };
    }
    let name = node.tag_name().name();
    let found = columns.iter().zip(answers).find(|(c, _)| c.name == name);
    let Some((column, answer)) = found else {
        let detail = format!("the form has no question {}", shown(name));
        return Err(Fault::new(code::UNKNOWN_QUESTION, detail).of_file());
    };
    let at_column = |fault: Fault| Rejection {
        column: Some(column.name.to_owned()),
        ..fault.of_file()
    };
    if answer.is_some() {
        return Err(at_column(repeated(name)));
    }
    let text = plain_text(node).ok_or_else(|| {
        let detail = "the answer holds other elements; it must be plain text";
        at_column(Fault::new(code::NOT_PLAIN, detail))
    })?;
    *answer = Some(written_out(column, text));
    Ok(())
}

fn repeated(name: &str) -> Fault {
    let detail = format!("{} is there twice; one form is one row", shown(name));
    Fault::new(code::REPEATED_QUESTION, detail)
}

/// The text of an element that holds nothing else.
fn plain_text(node: Node<'_, '_>) -> Option<String> {
    let mut text = String::new();
    for child in node.children() {
        match child.text() {
            _ if child.is_element() => return None,
            Some(part) if child.is_text() => text.push_str(part),
            _ => {}
        }
    }
    Some(text)
}

/// A phone that keeps decimals as binary numbers writes 0.0005 as `5.0E-4`. The digits are
/// all there, so the value is written out; a file, where a spreadsheet may have dropped
/// some, is refused instead.
fn written_out(column: &Column, text: String) -> String {
    if !matches!(column.value, ValueRule::Decimal { .. }) || !text.contains(['e', 'E']) {
        return text;
    }
    match Decimal::from_scientific(&text) {
        Ok(value) => value.normalize().to_string(),
        Err(_) => text,
    }
}

/// The id of the filling-in, from the metadata; nothing else of them is looked at or kept.
fn instance_id(meta: Option<Node<'_, '_>>) -> Result<String, Fault> {
    let missing = || {
        Fault::new(
            code::INSTANCE_ID,
            "the filled-in form has no instanceID, by which a second sending would be known",
        )
    };
    let meta = meta.ok_or_else(missing)?;
    let named = |name: &'static str| {
        let parts = meta.children();
        parts.filter(move |part| part.is_element() && part.tag_name().name() == name)
    };
    if named("deprecatedID").next().is_some() {
        return Err(Fault::new(
            code::EDITED_FORM,
            "this is an edited copy of a form that was sent before; rows are not edited, \
             ask the office for a correction",
        ));
    }
    let mut found = named("instanceID");
    let (Some(only), None) = (found.next(), found.next()) else {
        return Err(missing());
    };
    let id = plain_text(only).unwrap_or_default();
    let sound = |c: char| c.is_ascii_alphanumeric() || ":-_.".contains(c);
    if id.is_empty() {
        Err(missing())
    } else if id.len() > INSTANCE_ID_MAX || !id.chars().all(sound) {
        let detail = format!(
            "the instanceID {} is not one: it has at most {INSTANCE_ID_MAX} letters, digits \
             and : - _ .",
            shown(&id)
        );
        Err(Fault::new(code::INSTANCE_ID, detail))
    } else {
        Ok(id)
    }
}
