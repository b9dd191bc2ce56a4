//! Properties: nothing panics, what is written reads back, and records are those of the `csv` crate.

use super::read_all;
use crate::intake::lexer::{Lexer, Record};
use crate::intake::{BatchKind, Cell, CellTexts, Row, Template, ValueRule, row_from_texts, typed};
use proptest::prelude::*;
use rust_decimal::Decimal;

fn any_kind() -> impl Strategy<Value = BatchKind> {
    prop::sample::select(BatchKind::ALL.as_slice())
}

/// A text that the column takes by itself; row rules are left to chance.
fn cell_text(rule: ValueRule, required: bool) -> BoxedStrategy<String> {
    let filled = match rule {
        ValueRule::Code { max_len } => {
            let pattern = format!("[A-Za-z0-9_./][A-Za-z0-9_./-]{{0,{}}}", max_len - 1);
            prop::string::string_regex(&pattern).unwrap().boxed()
        }
        ValueRule::OneOf(words) => prop::sample::select(words).prop_map(str::to_owned).boxed(),
        ValueRule::Date => (2000..=2100_i32, 1..=12_u32, 1..=28_u32)
            .prop_map(|(year, month, day)| format!("{year}-{month:02}-{day:02}"))
            .boxed(),
        ValueRule::Decimal {
            min,
            max,
            scale_max,
        } => (0..=1_000_000_u32, 0..=scale_max, "[+]?0{0,3}")
            .prop_map(move |(part, scale, lead)| {
                let value = min + (max - min) * Decimal::new(i64::from(part), 6);
                let text = format!("{:.*}", scale as usize, value.trunc_with_scale(scale));
                format!("{lead}{text}")
            })
            .boxed(),
        ValueRule::Integer { min, max } => (min..=max, "[+]?0{0,3}")
            .prop_map(|(value, lead)| format!("{lead}{value}"))
            .boxed(),
        ValueRule::Minute => (
            2000..=2100_i32,
            1..=12_u32,
            1..=28_u32,
            0..=23_u32,
            0..=59_u32,
        )
            .prop_map(|(year, month, day, hour, minute)| {
                format!("{year}-{month:02}-{day:02}T{hour:02}:{minute:02}")
            })
            .boxed(),
        ValueRule::YesNo => prop::sample::select(&["yes", "no"])
            .prop_map(str::to_owned)
            .boxed(),
    };
    if required {
        filled
    } else {
        prop_oneof![Just(String::new()), filled].boxed()
    }
}

/// A kind and a row that its template accepts.
fn accepted_row() -> impl Strategy<Value = (BatchKind, Row)> {
    any_kind().prop_flat_map(|kind| {
        let template = kind.template();
        let columns = template.columns.iter();
        let texts: Vec<_> = columns
            .map(|column| cell_text(column.value, column.required))
            .collect();
        texts.prop_filter_map("a row rule is broken", move |texts| {
            let row = row_from_texts(template, 2, texts.iter().map(String::as_str));
            row.ok().map(|row| (kind, row))
        })
    })
}

fn texts_of(template: &Template, row: &Row) -> Vec<String> {
    (0..template.columns.len())
        .map(|index| row.text(index))
        .collect()
}

/// Pieces of which near-CSV is made, so that chance reaches the deeper states.
fn near_csv() -> impl Strategy<Value = Vec<u8>> {
    let piece = prop_oneof![
        6 => prop::sample::select(&[
            ",", "\n", "\r\n", "\r", "\"", "\"\"", ";", " ", "\t", "\0", "2025-01-01", "14", "-0",
            "1e400", "0,5", "=x", "gasifier", "é", "\u{feff}", "99999999999999999999999999999999",
            "0.00000000000000000000000000000000000001", "serial", "household_code",
        ]).prop_map(|text| text.as_bytes().to_vec()),
        1 => prop::collection::vec(any::<u8>(), 0..6),
    ];
    prop::collection::vec(piece, 0..60).prop_map(|pieces| pieces.concat())
}

proptest! {
    #[test]
    fn no_soup_of_bytes_panics(kind in any_kind(), bytes in prop::collection::vec(any::<u8>(), 0..400)) {
        let (rows, rejections) = read_all(kind, &bytes);
        prop_assert!(rows.len() + rejections.len() > 0);
    }

    #[test]
    fn no_soup_after_a_good_header_panics(kind in any_kind(), soup in near_csv()) {
        let mut bytes = format!("{}\n", kind.template().header()).into_bytes();
        bytes.extend(soup);
        let (rows, rejections) = read_all(kind, &bytes);
        prop_assert!(rows.len() + rejections.len() > 0);
    }

    #[test]
    fn no_soup_of_texts_panics(kind in any_kind(), texts in prop::collection::vec(any::<String>(), 0..16)) {
        let template = kind.template();
        let row = row_from_texts(template, 1, texts.iter().map(String::as_str));
        prop_assert!(row.is_ok() || !row.unwrap_err().is_empty());
    }

    #[test]
    fn an_accepted_row_reads_back_equal_from_its_texts((kind, row) in accepted_row()) {
        let template = kind.template();
        let texts = texts_of(template, &row);
        let again = row_from_texts(template, row.line, texts.iter().map(String::as_str));
        // Decimals are equal whatever their trailing zeros, so the texts are compared too.
        prop_assert_eq!(again.as_ref(), Ok(&row));
        prop_assert_eq!(texts_of(template, &again.unwrap()), texts);
    }

    #[test]
    fn the_texts_taken_at_once_are_those_taken_one_by_one(
        (_, first) in accepted_row(),
        (kind, row) in accepted_row(),
    ) {
        let mut texts = CellTexts::default();
        texts.fill(&first);
        texts.fill(&row);
        let at_once: Vec<_> = texts.iter().map(|text| text.unwrap_or_default()).collect();
        prop_assert_eq!(at_once, texts_of(kind.template(), &row));
        for (index, cell) in row.cells.iter().enumerate() {
            prop_assert_eq!(texts.get(index).is_none(), *cell == Cell::Empty);
        }
    }

    #[test]
    fn a_row_written_by_the_csv_crate_reads_back_equal(
        (kind, row) in accepted_row(),
        always_quoted in any::<bool>(),
        crlf in any::<bool>(),
        turned_by in 0..12_usize,
    ) {
        let template = kind.template();
        let mut writer = csv::WriterBuilder::new()
            .quote_style(if always_quoted { csv::QuoteStyle::Always } else { csv::QuoteStyle::Necessary })
            .terminator(if crlf { csv::Terminator::CRLF } else { csv::Terminator::Any(b'\n') })
            .from_writer(Vec::new());
        let mut names: Vec<&str> = template.columns.iter().map(|column| column.name).collect();
        let mut texts = texts_of(template, &row);
        let turned_by = turned_by % names.len();
        names.rotate_left(turned_by);
        texts.rotate_left(turned_by);
        writer.write_record(&names).unwrap();
        writer.write_record(&texts).unwrap();
        let (rows, rejections) = read_all(kind, &writer.into_inner().unwrap());
        prop_assert_eq!(rejections, vec![]);
        prop_assert_eq!(rows.len(), 1);
        prop_assert_eq!(texts_of(template, &rows[0]), texts_of(template, &row));
        prop_assert_eq!(&rows[0], &row);
    }

    #[test]
    fn an_accepted_row_always_becomes_its_type((kind, row) in accepted_row()) {
        use crate::accounting::evidence::*;
        let typed: Result<(), typed::TypedError> = match kind {
            BatchKind::Households => Household::try_from(&row).map(drop),
            BatchKind::Deployments => Deployment::try_from(&row).map(drop),
            BatchKind::DeploymentEnds => DeploymentEnd::try_from(&row).map(drop),
            BatchKind::UsageSurvey => UsageAnswer::try_from(&row).map(drop),
            BatchKind::KitchenTest => KitchenDay::try_from(&row).map(drop),
            BatchKind::CharWeighing => CharWeighing::try_from(&row).map(drop),
            BatchKind::BaselineSurvey => BaselineSurveyAnswer::try_from(&row).map(drop),
            BatchKind::CookingTest => CookingTest::try_from(&row).map(drop),
            BatchKind::StoveTest => StoveTest::try_from(&row).map(drop),
            BatchKind::CharLab => CharLabTest::try_from(&row).map(drop),
            BatchKind::MoistureReading => MoistureReading::try_from(&row).map(drop),
        };
        prop_assert_eq!(typed, Ok(()));
    }

    /// The outside reference for RFC 4180: the `csv` crate writes, both read.
    #[test]
    fn records_are_cut_as_the_csv_crate_cuts_them(
        records in prop::collection::vec(prop::collection::vec("[a\",\r\n é]{0,5}", 1..5), 0..6),
    ) {
        let mut writer = csv::WriterBuilder::new().flexible(true).from_writer(Vec::new());
        for record in &records {
            writer.write_record(record).unwrap();
        }
        let bytes = writer.into_inner().unwrap();
        let mut theirs = csv::ReaderBuilder::new()
            .flexible(true)
            .has_headers(false)
            .from_reader(bytes.as_slice());
        let theirs: Vec<Vec<Vec<u8>>> = theirs
            .byte_records()
            .map(|record| record.unwrap().iter().map(<[u8]>::to_vec).collect())
            .filter(|cells: &Vec<Vec<u8>>| cells.concat().iter().any(|byte| !b" \t".contains(byte)))
            .collect();
        let mut lexer = Lexer::new(bytes.as_slice());
        let mut record = Record::default();
        let mut ours = Vec::new();
        while lexer.read(&mut record).unwrap() {
            ours.push(record.cells().map(<[u8]>::to_vec).collect::<Vec<_>>());
        }
        prop_assert_eq!(ours, theirs);
    }
}
