//! RFC 8785 vectors and the refusals of the strict reader.

use proptest::prelude::*;
use serde::Serialize;
use serde_json::{Number, Value, json};

use super::*;

/// RFC 8785 appendix B: bits of the double, and its text. SEEN-2ND.
const NUMBERS: [(u64, &str); 20] = [
    (0x0000000000000000, "0"),
    (0x8000000000000000, "0"),
    (0x0000000000000001, "5e-324"),
    (0x8000000000000001, "-5e-324"),
    (0x7fefffffffffffff, "1.7976931348623157e+308"),
    (0x44b52d02c7e14af5, "9.999999999999997e+22"),
    (0x44b52d02c7e14af6, "1e+23"),
    (0x44b52d02c7e14af7, "1.0000000000000001e+23"),
    (0x444b1ae4d6e2ef50, "1e+21"),
    (0x3eb0c6f7a0b5ed8c, "9.999999999999997e-7"),
    (0x3eb0c6f7a0b5ed8d, "0.000001"),
    (0x41b3de4355555553, "333333333.3333332"),
    (0x41b3de4355555557, "333333333.33333343"),
    (0xbecbf647612f3696, "-0.0000033333333333333333"),
    (0x43143ff3c1cb0959, "1424953923781206.2"),
    // The next are whole numbers above 2^53 - 1: the RFC gives their text, this
    // room refuses them.
    (0x4340000000000000, "9007199254740992"),
    (0xc340000000000000, "-9007199254740992"),
    (0x4430000000000000, "295147905179352830000"),
    (0x444b1ae4d6e2ef4e, "999999999999999700000"),
    (0x444b1ae4d6e2ef4f, "999999999999999900000"),
];

#[test]
fn numbers_are_written_as_the_standard_writes_them() {
    for (bits, text) in NUMBERS {
        let value = Value::Number(Number::from_f64(f64::from_bits(bits)).unwrap());
        let by_standard = serde_json_canonicalizer::to_vec(&value).unwrap();
        assert_eq!(String::from_utf8(by_standard).unwrap(), text, "{bits:016x}");
        let whole = text.trim_start_matches('-');
        let unsafe_integer = whole.bytes().all(|b| b.is_ascii_digit()) && whole.len() > 15;
        match canonical_json(&value) {
            Ok(bytes) => {
                assert!(!unsafe_integer, "{text} was let through");
                assert_eq!(bytes, text.as_bytes());
                assert!(is_canonical(&bytes), "{text} does not come back");
            }
            Err(error) => {
                assert!(unsafe_integer, "{text}: {error}");
                assert!(matches!(error, CanonicalError::IntegerTooLarge(_)));
            }
        }
    }
}

/// RFC 8785 section 3.2.3. SEEN-2ND.
#[test]
fn names_are_ordered_by_utf16_code_units() {
    let value = json!({
        "\u{20ac}": "Euro Sign", "\r": "Carriage Return", "\u{fb33}": "Hebrew Letter Dalet With Dagesh",
        "1": "One", "\u{1f600}": "Emoji: Grinning Face", "\u{80}": "Control",
        "\u{f6}": "Latin Small Letter O With Diaeresis",
    });
    let text = String::from_utf8(canonical_json(&value).unwrap()).unwrap();
    let places: Vec<usize> = [
        "Carriage", "One", "Control", "Latin", "Euro", "Emoji", "Hebrew",
    ]
    .iter()
    .map(|word| text.find(word).unwrap())
    .collect();
    assert!(places.is_sorted(), "{text}");
}

/// `values.json` and `structures.json` of the test data that RFC 8785 names
/// (cyberphone/json-canonicalization, `testdata`). SEEN.
#[test]
fn values_of_every_kind_are_written_as_the_standard_writes_them() {
    let input = r#"{
        "numbers": [1E30, 4.50, 333333333.33333329, 2e-3, 0.000000000000000000000000001],
        "escaping": "\u20ac$\u000F\u000aA'\u0042\u0022\u005c\\\"\/",
        "literals": [null, true, false]
    }"#;
    let expected = r#"{"escaping":"€$\u000f\nA'B\"\\\\\"/","literals":[null,true,false],"#
        .to_owned()
        + r#""numbers":[1e+30,4.5,333333333.3333333,0.002,1e-27]}"#;
    let bytes = canonical_json(&parse_strict(input.as_bytes()).unwrap()).unwrap();
    assert_eq!(String::from_utf8(bytes.clone()).unwrap(), expected);
    assert!(is_canonical(&bytes));
    assert!(!is_canonical(input.as_bytes()));

    let input = r#"{"1": {"f": {"f": "hi","F": 5} ,"\n": 56.0}, "10": { }, "": "empty",
        "a": { }, "111": [ { } ], "A": { }}"#;
    let expected =
        r#"{"":"empty","1":{"\n":56,"f":{"F":5,"f":"hi"}},"10":{},"111":[{}],"A":{},"a":{}}"#;
    let bytes = canonical_json(&parse_strict(input.as_bytes()).unwrap()).unwrap();
    assert_eq!(String::from_utf8(bytes).unwrap(), expected);
}

#[test]
fn integers_are_refused_just_outside_the_exact_range() {
    assert_eq!(
        canonical_json(&json!(LARGEST_INTEGER)).unwrap(),
        b"9007199254740991"
    );
    assert_eq!(
        canonical_json(&json!(-9007199254740991_i64)).unwrap(),
        b"-9007199254740991"
    );
    for value in [
        json!(9007199254740992_u64),
        json!(-9007199254740992_i64),
        json!(u64::MAX),
        json!(i64::MIN),
        json!(9007199254740992.0),
        json!({"deep": [9007199254740993_u64]}),
    ] {
        let error = canonical_json(&value).unwrap_err();
        assert!(
            matches!(error, CanonicalError::IntegerTooLarge(_)),
            "{value}: {error}"
        );
        assert!(canonical_of(&value).is_err(), "{value}");
    }
    assert!(!is_canonical(b"9007199254740992"));
}

#[test]
fn the_strict_reader_refuses_what_plain_readers_let_pass() {
    let deep = |levels: usize| format!("{}{}", "[".repeat(levels), "]".repeat(levels));
    let refused: [(&str, String); 16] = [
        ("repeated name", r#"{"a":1,"a":2}"#.into()),
        ("repeated name by escape", r#"{"a":1,"\u0061":2}"#.into()),
        (
            "repeated name inside",
            r#"[{"x":{"b":0,"c":1,"b":2}}]"#.into(),
        ),
        ("lone leading surrogate", r#""\ud800""#.into()),
        ("lone trailing surrogate", r#""\udc00""#.into()),
        ("lone surrogate in a name", r#"{"\ud83d":1}"#.into()),
        ("trailing value", "1 2".into()),
        ("trailing bracket", "{}}".into()),
        ("nothing", "".into()),
        ("byte order mark", "\u{feff}1".into()),
        ("bare control character", "\"\u{1}\"".into()),
        ("infinite number", "1e400".into()),
        ("not a number", "NaN".into()),
        ("leading zero", "01".into()),
        ("too deep", deep(128)),
        ("far too deep", deep(100_000)),
    ];
    for (what, text) in refused {
        assert!(parse_strict(text.as_bytes()).is_err(), "{what}");
        assert!(!is_canonical(text.as_bytes()), "{what}");
    }
    assert!(parse_strict(b"\"\xff\"").is_err(), "not UTF-8");
    assert!(is_canonical(deep(127).as_bytes()));
    assert_eq!(
        parse_strict(deep(128).as_bytes()),
        Err(CanonicalError::TooDeep)
    );
    let error = parse_strict(br#"{"a":1,"a":2}"#).unwrap_err();
    assert!(matches!(&error, CanonicalError::DuplicateName(text) if text.contains("\"a\"")));
}

#[test]
fn bytes_that_only_mean_the_same_are_not_canonical() {
    assert!(is_canonical(br#"{"a":1,"b":"x"}"#));
    for other in [
        r#"{"b":"x","a":1}"#,
        r#"{"a":1, "b":"x"}"#,
        r#"{"a":1.0,"b":"x"}"#,
        r#"{"a":1,"b":"\u0078"}"#,
        "{\"a\":1,\"b\":\"x\"}\n",
        "-0",
    ] {
        assert!(!is_canonical(other.as_bytes()), "{other}");
    }
}

#[test]
fn a_structure_is_written_with_sorted_names_and_refused_when_not_finite() {
    #[derive(Serialize)]
    struct Reading {
        stove: &'static str,
        mass_kg: f64,
    }
    let reading = |mass_kg| Reading {
        stove: "s-1",
        mass_kg,
    };
    assert_eq!(
        canonical_of(&reading(1.50)).unwrap(),
        br#"{"mass_kg":1.5,"stove":"s-1"}"#
    );
    assert!(matches!(
        canonical_of(&reading(f64::NAN)),
        Err(CanonicalError::NotWritable(_))
    ));
    assert!(canonical_of(&reading(f64::INFINITY)).is_err());
    assert!(canonical_of(&f64::NAN).is_err());
    assert!(canonical_of(&vec![Some((1, f32::NEG_INFINITY))]).is_err());
    assert!(canonical_of(&std::collections::BTreeMap::from([("a", f64::NAN)])).is_err());
    assert!(canonical_of(&u64::MAX).is_err());
    assert_eq!(
        canonical_of(&(None::<u8>, 'c', Some(0.5))).unwrap(),
        br#"[null,"c",0.5]"#
    );
}

#[test]
fn a_value_built_too_deep_is_refused_and_does_not_overflow() {
    let mut value = json!(1);
    for _ in 0..NESTING_BOUND {
        value = json!([value]);
    }
    assert_eq!(canonical_json(&value), Err(CanonicalError::TooDeep));
}

fn any_json() -> impl Strategy<Value = Value> {
    let leaf = prop_oneof![
        Just(Value::Null),
        any::<bool>().prop_map(Value::Bool),
        (-9007199254740991_i64..=9007199254740991).prop_map(|n| json!(n)),
        any::<f64>().prop_filter_map("finite", |n| Number::from_f64(n).map(Value::Number)),
        any::<String>().prop_map(Value::String),
    ];
    leaf.prop_recursive(4, 32, 6, |inner| {
        prop_oneof![
            prop::collection::vec(inner.clone(), 0..6).prop_map(Value::Array),
            prop::collection::btree_map(any::<String>(), inner, 0..6)
                .prop_map(|members| Value::Object(members.into_iter().collect())),
        ]
    })
}

proptest! {
    #[test]
    fn whatever_is_written_is_canonical_and_stays_so(value in any_json()) {
        if let Ok(bytes) = canonical_json(&value) {
            prop_assert!(is_canonical(&bytes));
            prop_assert_eq!(&canonical_of(&value).unwrap(), &bytes);
            prop_assert_eq!(&canonical_json(&parse_strict(&bytes).unwrap()).unwrap(), &bytes);
        }
    }

    #[test]
    fn any_bytes_are_answered_without_panic(bytes in prop::collection::vec(any::<u8>(), 0..64)) {
        if let Ok(value) = parse_strict(&bytes) {
            let _ = canonical_json(&value);
        }
        let _ = is_canonical(&bytes);
    }
}
