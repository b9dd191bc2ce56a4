//! What a form asks, and that it depends on nothing but its template and round.

use super::form;
use crate::intake::kinds::BatchKind;
use crate::intake::xform::{FormId, question_label, write_form, xml_text};
use roxmltree::Document;

/// The register's forms, and one of a round for each other kind.
fn every_form() -> Vec<FormId> {
    let of = |kind: BatchKind| FormId {
        kind,
        round: kind.needs_round().then(|| "2025".to_owned()),
    };
    BatchKind::ALL.map(of).to_vec()
}

#[test]
fn every_kind_has_a_form_that_asks_each_column_once_and_nothing_else() {
    for id in every_form() {
        let columns = id.kind.template().columns;
        let xml = write_form(id.clone()).xml;
        if let Some(folder) = std::env::var_os("FORMS_TO") {
            // For `tests/reference/forms.py --validate`.
            let file = std::path::Path::new(&folder).join(format!("{id}.xml"));
            std::fs::write(file, &xml).expect("the form is written");
        }
        let document = Document::parse(&xml).expect("well-formed");
        let data = document
            .descendants()
            .find(|node| node.has_tag_name(("http://www.w3.org/2002/xforms", "data")))
            .expect("an instance");
        assert_eq!(data.attribute("id"), Some(id.to_string().as_str()));
        let asked: Vec<&str> = data
            .children()
            .filter(|node| node.is_element())
            .map(|node| node.tag_name().name())
            .collect();
        let mut wanted: Vec<&str> = columns.iter().map(|column| column.name).collect();
        wanted.push("meta");
        assert_eq!(asked, wanted, "{id}");
        for word in ["deviceID", "deviceid", "geopoint", "phonenumber", "start"] {
            assert!(!xml.contains(&format!("preload=\"{word}")), "{id}: {word}");
            assert!(!xml.contains(&format!("<{word}")), "{id}: {word}");
        }
    }
}

#[test]
fn the_names_of_forms_read_back_and_others_are_none() {
    for id in every_form() {
        assert_eq!(id.to_string().parse(), Ok(id));
    }
    let odd: FormId = "usage_survey--a--b"
        .parse()
        .expect("a round with a divider");
    assert_eq!(odd.round.as_deref(), Some("a--b"));
    for name in [
        "",
        "usage_survey",
        "usage_survey--",
        "households--2025",
        "stoves--2025",
        "usage_survey--a b",
        "usage_survey--<",
        "usage_survey-2025",
    ] {
        assert!(name.parse::<FormId>().is_err(), "{name}");
    }
}

#[test]
fn the_version_is_of_the_template_and_the_round() {
    let version = |name: &str| write_form(name.parse().expect("a form")).version;
    let first = version("usage_survey--2025");
    assert_eq!(first.len(), 16);
    assert_eq!(first, version("usage_survey--2025"));
    assert_ne!(first, version("usage_survey--2026"));
    assert!(form("usage_survey--2025").contains(&format!("version=\"{first}\"")));
}

#[test]
fn labels_are_words_with_the_unit_and_no_two_of_a_form_are_the_same() {
    let label = |kind: BatchKind, name: &str| {
        let template = kind.template();
        let at = template.column(name).expect("a column");
        question_label(&template.columns[at])
    };
    for (kind, name, words) in [
        (BatchKind::KitchenTest, "household_code", "Household code"),
        (
            BatchKind::KitchenTest,
            "stock_start_wet_kg",
            "Stock start (kg wet)",
        ),
        (
            BatchKind::KitchenTest,
            "moisture_wb",
            "Moisture (fraction of wet mass)",
        ),
        (BatchKind::StoveTest, "pm25_mg", "PM2.5 (mg)"),
        (
            BatchKind::StoveTest,
            "fuel_ncv_dry_mj_per_kg",
            "Fuel NCV dry (MJ/kg dry)",
        ),
    ] {
        assert_eq!(label(kind, name), words);
    }
    for id in every_form() {
        let columns = id.kind.template().columns;
        let mut labels: Vec<String> = columns.iter().map(question_label).collect();
        labels.sort();
        labels.dedup();
        assert_eq!(labels.len(), columns.len(), "{id}");
    }
}

#[test]
fn text_is_made_safe_for_xml() {
    assert_eq!(xml_text("plain"), "plain");
    assert_eq!(
        xml_text("a<b & 'c' \"d\">"),
        "a&lt;b &amp; &#39;c&#39; &quot;d&quot;&gt;"
    );
    assert_eq!(xml_text("\u{0}\u{b}é\u{ffff}"), "\u{fffd}\u{fffd}é\u{fffd}");
}
