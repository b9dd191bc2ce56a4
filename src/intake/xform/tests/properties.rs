//! Whatever is sent, reading ends with a row's texts or with a reason.

use super::{ANSWERS, META, usage};
use crate::intake::kinds::BatchKind;
use crate::intake::xform::{read_submission, xml_text};
use proptest::prelude::*;

/// Pieces that filled-in forms are made of, to be put together wrongly.
fn piece() -> impl Strategy<Value = String> {
    prop_oneof![
        Just("<data id=\"usage_survey--2025\">".to_owned()),
        Just("</data>".to_owned()),
        Just("<serial>".to_owned()),
        Just("</serial>".to_owned()),
        Just("<outcome/>".to_owned()),
        Just("<meta><instanceID>".to_owned()),
        Just("</instanceID></meta>".to_owned()),
        Just("<!DOCTYPE x [<!ENTITY e \"e\">]>".to_owned()),
        Just("&e;&amp;&#x41;".to_owned()),
        Just("<![CDATA[".to_owned()),
        Just("]]>".to_owned()),
        Just("<!--".to_owned()),
        Just("<?x ".to_owned()),
        Just("xmlns:a=\"b\"".to_owned()),
        "\\PC{0,6}",
        "[0-9eE+.-]{0,8}",
    ]
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(400))]

    #[test]
    fn any_bytes_are_read_or_refused(bytes in prop::collection::vec(any::<u8>(), 0..600)) {
        let _ = read_submission(&bytes);
    }

    #[test]
    fn any_heap_of_pieces_is_read_or_refused_with_a_reason(
        pieces in prop::collection::vec(piece(), 0..30),
    ) {
        let xml = pieces.concat();
        match read_submission(xml.as_bytes()) {
            Ok(read) => {
                prop_assert_eq!(read.texts.len(), read.form.kind.template().columns.len());
                prop_assert!(!xml.contains("<!DOCTYPE") || xml.contains("<!--") || xml.contains("CDATA"));
            }
            Err(reasons) => prop_assert!(!reasons.is_empty()),
        }
    }

    #[test]
    fn a_sound_form_with_a_byte_changed_or_cut_is_read_or_refused(
        at in any::<prop::sample::Index>(),
        byte in any::<u8>(),
        cut in any::<bool>(),
    ) {
        let mut xml = usage(&format!("{ANSWERS}{META}")).into_bytes();
        let at = at.index(xml.len());
        if cut { xml.truncate(at) } else { xml[at] = byte }
        if let Ok(read) = read_submission(&xml) {
            prop_assert!(!cut);
            prop_assert_eq!(read.form.kind, BatchKind::UsageSurvey);
        }
    }

    #[test]
    fn any_text_that_xml_can_hold_comes_back_as_it_was_answered(
        text in "[^\\x00-\\x1f\\x7f\\u{fffe}\\u{ffff}eE]{0,40}",
    ) {
        let answer = format!("<serial>{}</serial>", xml_text(&text));
        let read = read_submission(usage(&format!("{answer}{META}")).as_bytes());
        prop_assert_eq!(&read.expect("sound").texts[1], &text);
    }

    #[test]
    fn a_decimal_of_a_binary_phone_has_the_value_of_its_digits(
        digits in 0_u32..1_000_000, exponent in 0_u32..7,
    ) {
        let written = format!("{digits}E-{exponent}");
        let answer = format!("<share_of_meals>{written}</share_of_meals>");
        let read = read_submission(usage(&format!("{answer}{META}")).as_bytes());
        let read = read.expect("sound").texts[5].parse::<f64>().expect("a number");
        prop_assert_eq!(read, written.parse::<f64>().expect("a number"));
    }
}
