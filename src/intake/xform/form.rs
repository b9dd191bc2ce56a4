//! The whole form: the instance to be filled, its binds, its controls.

use super::controls::{write_bind, write_control};
use super::{FormId, xml_text};
use sha2::{Digest, Sha256};
use std::fmt::Write;

/// A form as a phone downloads it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct XForm {
    pub id: FormId,
    /// What the phone shows in its list.
    pub title: String,
    /// The first 16 hexadecimal digits of the SHA-256 of all that the form says but for this
    /// version: it changes exactly when the template or the way of asking does.
    pub version: String,
    pub xml: String,
}

/// The form of a kind and its round, made from the kind's template.
pub fn write_form(id: FormId) -> XForm {
    let template = id.kind.template();
    let title = match &id.round {
        Some(round) => format!("{}, round {round}", template.title),
        None => template.title.to_owned(),
    };
    let unversioned = text_of(&id, &title, "");
    let mut version = hex::encode(Sha256::digest(unversioned.as_bytes()));
    version.truncate(16);
    XForm {
        xml: text_of(&id, &title, &version),
        id,
        title,
        version,
    }
}

fn text_of(id: &FormId, title: &str, version: &str) -> String {
    let columns = id.kind.template().columns;
    let mut text = String::with_capacity(8 * 1024);
    text.push_str(
        "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n\
         <h:html xmlns=\"http://www.w3.org/2002/xforms\" \
         xmlns:h=\"http://www.w3.org/1999/xhtml\" \
         xmlns:jr=\"http://openrosa.org/javarosa\">\n",
    );
    // Writing to a text cannot fail.
    let _ = write!(
        text,
        "  <h:head>\n    <h:title>{}</h:title>\n    <model>\n      <instance>\n        \
         <data id=\"{id}\" version=\"{version}\">\n",
        xml_text(title)
    );
    for column in columns {
        let _ = writeln!(text, "          <{}/>", column.name);
    }
    text.push_str("          <meta><instanceID/></meta>\n        </data>\n      </instance>\n");
    for column in columns {
        write_bind(column, &mut text);
    }
    text.push_str(
        "      <bind nodeset=\"/data/meta/instanceID\" type=\"string\" readonly=\"true()\" \
         jr:preload=\"uid\"/>\n    </model>\n  </h:head>\n  <h:body>\n",
    );
    for column in columns {
        write_control(column, &mut text);
    }
    text.push_str("  </h:body>\n</h:html>\n");
    text
}
