//! Filled-in forms, sound and unsound.

use super::{ANSWERS, META, usage};
use crate::intake::kinds::BatchKind;
use crate::intake::rejection::code;
use crate::intake::row_from_texts;
use crate::intake::xform::{SUBMISSION_BYTES_MAX, Submission, read_submission};

fn read(xml: &str) -> Submission {
    read_submission(xml.as_bytes()).expect("sound")
}

/// The faults of a filled-in form, as `question code`.
fn faults(xml: impl AsRef<[u8]>) -> Vec<String> {
    let faults = read_submission(xml.as_ref()).expect_err("unsound");
    let short = faults.iter().map(|fault| {
        assert!(fault.detail.len() > 10, "{fault:?}");
        let column = fault.column.as_deref().unwrap_or("-");
        format!("{column} {}", fault.code)
    });
    short.collect()
}

#[test]
fn answers_come_in_the_order_of_the_template_whatever_their_order() {
    let submission = read(&usage(&format!("{META}{ANSWERS}")));
    assert_eq!(submission.form.to_string(), "usage_survey--2025");
    assert_eq!(
        submission.instance_id,
        "uuid:11111111-2222-4333-8444-555555555555"
    );
    let wanted = ["HH-1", "S-1", "2025-09-10", "in_use", "7", "0.5"];
    assert_eq!(submission.texts, wanted);
    let turned = "<outcome>in_use</outcome><serial>S-1</serial><share_of_meals/>";
    let turned = read(&usage(&format!("{turned}{META}")));
    assert_eq!(turned.texts, ["", "S-1", "", "in_use", "", ""]);
}

#[test]
fn namespaces_comments_character_data_and_spacing_are_the_writers_choice() {
    let xml = "\u{feff}<?xml version='1.0' ?>\n<f:x xmlns:f=\"urn:x\" \
         xmlns:orx=\"http://openrosa.org/xforms\" id=\"usage_survey--2025\">\n  \
         <!-- none --><f:serial><![CDATA[S]]>-&#49;</f:serial>\n  \
         <orx:meta><orx:instanceID>uuid:1</orx:instanceID>\
         <orx:deviceID>secret</orx:deviceID></orx:meta>\n</f:x>\n";
    let submission = read(xml);
    assert_eq!(submission.texts[1], "S-1");
    assert_eq!(submission.instance_id, "uuid:1");
    // The device that some phone named nevertheless is kept nowhere.
    assert!(!format!("{submission:?}").contains("secret"));
}

#[test]
fn a_decimal_with_an_exponent_is_written_out_and_nothing_else_is_touched() {
    let texts = |name: &str, text: &str| {
        let answer = format!("<{name}>{text}</{name}>");
        read(&usage(&format!("{answer}{META}"))).texts
    };
    for (written, read) in [
        ("5.0E-4", "0.0005"),
        ("1.25e-1", "0.125"),
        ("1.0E0", "1"),
        ("1E", "1E"),
        ("E", "E"),
        ("1e-400", "1e-400"),
        ("1e99999999999", "1e99999999999"),
        ("0.50", "0.50"),
    ] {
        assert_eq!(texts("share_of_meals", written)[5], read, "{written}");
    }
    assert_eq!(texts("days_used_last_week", "1E0")[4], "1E0");
    assert_eq!(texts("serial", "5E-4")[1], "5E-4");
}

#[test]
fn answers_are_kept_as_given_for_the_checks_that_follow() {
    let odd = "<household_code> HH-1</household_code><serial>=S</serial>\
               <surveyed_on>10.9.2025</surveyed_on><outcome>In use</outcome>\
               <days_used_last_week>8</days_used_last_week><share_of_meals>75</share_of_meals>";
    let submission = read(&usage(&format!("{odd}{META}")));
    let template = BatchKind::UsageSurvey.template();
    let texts = submission.texts.iter().map(String::as_str);
    let faults = row_from_texts(template, 2, texts).expect_err("all wrong");
    let codes: Vec<&str> = faults.iter().map(|fault| fault.code).collect();
    assert_eq!(
        codes,
        [
            code::STRAY_SPACE,
            code::FORMULA_START,
            code::DATE_FORMAT,
            code::NOT_IN_LIST,
            code::OUT_OF_RANGE,
            code::OUT_OF_RANGE,
        ]
    );
}

#[test]
fn what_the_form_did_not_ask_is_refused_with_every_fault_named() {
    let unasked = usage(&format!(
        "stray<phone>0123</phone><serial>S-1</serial><serial>S-2</serial>\
         <outcome><b>in_use</b></outcome>{META}{META}"
    ));
    assert_eq!(
        faults(unasked),
        [
            "- unknown_question",
            "- unknown_question",
            "serial repeated_question",
            "outcome not_plain",
            "- repeated_question",
        ]
    );
}

#[test]
fn a_form_without_a_name_or_an_instance_id_is_refused() {
    assert_eq!(faults(format!("<data>{META}</data>")), ["- unknown_form"]);
    for name in ["", "usage_survey", "stoves--1", "households--2025"] {
        let xml = format!("<data id=\"{name}\">{META}</data>");
        assert_eq!(faults(xml), ["- unknown_form"], "{name}");
    }
    for meta in [
        "",
        "<meta/>",
        "<meta><instanceID/></meta>",
        "<meta><instanceID><a/></instanceID></meta>",
        "<meta><instanceID>a</instanceID><instanceID>b</instanceID></meta>",
        "<meta><instanceID>a/b</instanceID></meta>",
        "<meta><instanceID>a b</instanceID></meta>",
    ] {
        assert_eq!(faults(usage(meta)), ["- instance_id"], "{meta}");
    }
    let long = format!("<meta><instanceID>{}</instanceID></meta>", "a".repeat(101));
    assert_eq!(faults(usage(&long)), ["- instance_id"]);
    let edited = "<meta><instanceID>b</instanceID><deprecatedID>a</deprecatedID></meta>";
    assert_eq!(faults(usage(edited)), ["- edited_form"]);
}

#[test]
fn no_document_type_is_taken_so_that_no_entity_can_grow_or_read_a_file() {
    let laughs = "<!DOCTYPE data [<!ENTITY a \"ha\"><!ENTITY b \"&a;&a;&a;&a;&a;&a;&a;&a;\">\
                  <!ENTITY c \"&b;&b;&b;&b;&b;&b;&b;&b;\">]>";
    let laughing = usage(&format!("<serial>&c;</serial>{META}"));
    assert_eq!(faults(format!("{laughs}{laughing}")), ["- document_type"]);
    let file = "<!DOCTYPE data [<!ENTITY f SYSTEM \"file:///etc/hostname\">]>";
    let reading = usage(&format!("<serial>&f;</serial>{META}"));
    assert_eq!(faults(format!("{file}{reading}")), ["- document_type"]);
    let plain = usage(&format!("{ANSWERS}{META}"));
    assert_eq!(
        faults(format!("<!DOCTYPE data>{plain}")),
        ["- document_type"]
    );
    let unknown = usage(&format!("<serial>&nbsp;</serial>{META}"));
    assert_eq!(faults(unknown), ["- not_xml"]);
}

#[test]
fn size_and_depth_are_bounded() {
    let long = usage(&format!("<serial>{}</serial>{META}", "a".repeat(70_000)));
    assert_eq!(faults(&long[..]), ["- form_too_large"]);
    let deep = usage(&("<a>".repeat(20_000)));
    assert!(deep.len() < SUBMISSION_BYTES_MAX);
    assert_eq!(faults(deep), ["- form_too_large"]);
    let many = usage(&"<a/>".repeat(5_000));
    assert_eq!(faults(many), ["- form_too_large"]);
    let nested = usage(&format!(
        "<serial>{}{}</serial>{META}",
        "<a>".repeat(90),
        "</a>".repeat(90)
    ));
    assert_eq!(faults(nested), ["serial not_plain"]);
}

#[test]
fn what_is_no_xml_or_no_utf_8_is_refused() {
    for broken in [
        "",
        " ",
        "{}",
        "<data",
        "<data id='x'>",
        "<a/><b/>",
        "<a b='1' b='2'/>",
    ] {
        assert_eq!(faults(broken), ["- not_xml"], "{broken}");
    }
    assert_eq!(faults(b"<data id='\xff'/>"), ["- not_utf8"]);
    assert_eq!(faults("<data>\u{0}</data>"), ["- not_xml"]);
}
