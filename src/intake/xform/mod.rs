//! Phone forms: a template as an XForm, and a filled-in form as the cells of one row.
//!
//! The forms follow the openly published XForms profile that the OpenRosa standards build on,
//! so that any client of these standards can fill them in. There is one form for each open
//! round, and one for each kind of the register; [`FormId`] names them. No question asks for
//! a device, a place or a time that is not a column.
//!
//! [`write_form`] makes the form from the template and from nothing else; [`read_submission`]
//! gives the cell texts, which then pass the very checks that a file passes.

mod controls;
mod form;
mod form_id;
mod question;
mod submission;
#[cfg(test)]
mod tests;

pub use form::{XForm, write_form};
pub use form_id::FormId;
pub use question::question_label;
pub use submission::{SUBMISSION_BYTES_MAX, Submission, read_submission};

use std::borrow::Cow;

/// Text as it may stand between tags and in a quoted attribute of XML 1.0. Characters that
/// XML cannot hold become the replacement character.
pub fn xml_text(text: &str) -> Cow<'_, str> {
    let needs = |c: char| matches!(c, '&' | '<' | '>' | '"' | '\'') || !may_stand(c);
    if !text.contains(needs) {
        return Cow::Borrowed(text);
    }
    let mut safe = String::with_capacity(text.len() + 16);
    for character in text.chars() {
        match character {
            '&' => safe.push_str("&amp;"),
            '<' => safe.push_str("&lt;"),
            '>' => safe.push_str("&gt;"),
            '"' => safe.push_str("&quot;"),
            '\'' => safe.push_str("&#39;"),
            other if may_stand(other) => safe.push(other),
            _ => safe.push('\u{fffd}'),
        }
    }
    Cow::Owned(safe)
}

/// `Char` of XML 1.0, section 2.2.
fn may_stand(character: char) -> bool {
    matches!(
        character,
        '\t' | '\n' | '\r' | ' '..='\u{d7ff}' | '\u{e000}'..='\u{fffd}' | '\u{10000}'..
    )
}
