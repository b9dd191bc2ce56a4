//! Laws of the char account over many invented lots and laboratory results.

use super::*;
use crate::accounting::inputs::CharLot;
use proptest::prelude::*;

const FATES: [&str; 4] = ["soil", "burnt", "sold_as_fuel", "unknown"];

fn lots() -> impl Strategy<Value = Vec<CharLot>> {
    let masses = proptest::collection::vec(0u32..8_000_000, 8);
    masses.prop_map(|grams| {
        let feedstocks = ["coconut_husk", "wood"].into_iter();
        let kinds = feedstocks.flat_map(|feedstock| FATES.map(|fate| (feedstock, fate)));
        let with_mass = kinds.zip(grams).map(|((feedstock, fate), grams)| {
            lot(feedstock, fate, &Decimal::new(grams.into(), 3).to_string())
        });
        with_mass.collect()
    })
}

fn results() -> impl Strategy<Value = Vec<CharLabTest>> {
    let result = (any::<bool>(), 300u32..950, 1u32..45);
    proptest::collection::vec(result, 0..7).prop_map(|results| {
        let tests = results.into_iter().enumerate();
        let tests = tests.map(|(at, (wood, carbon, hydrogen))| {
            let thousandths = |value: u32| Decimal::new(value.into(), 3).to_string();
            let (carbon, hydrogen) = (thousandths(carbon), thousandths(hydrogen));
            let mut test = sample(&format!("s{at}"), &carbon, &hydrogen);
            if wood {
                test.feedstock = "wood".into();
            }
            test
        });
        tests.collect()
    })
}

fn programme(lots: &[CharLot], results: &[CharLabTest]) -> StatementInputs {
    let mut inputs = by_line("1.0445", "-0.6351");
    spread(&mut inputs, "line-residual", "0.193");
    inputs.char_lots = lots.to_vec();
    inputs.char_lab = results.to_vec();
    inputs
}

fn json(inputs: &StatementInputs) -> String {
    serde_json::to_string(&stated(inputs)).unwrap()
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(48))]

    #[test]
    fn more_char_to_soil_never_removes_less(
        lots in lots(),
        results in results(),
        moved in 0u32..=100,
        from in 1usize..4,
    ) {
        let before = stated(&programme(&lots, &results));
        let mut other = lots.clone();
        let kg = lots[from].dry_kg * Decimal::new(moved.into(), 2);
        other[from].dry_kg -= kg;
        other[0].dry_kg += kg;
        let after = stated(&programme(&other, &results));
        prop_assert!(node(&before, "char/removals") <= node(&after, "char/removals"));
        prop_assert_eq!(node(&before, "char/weighed_dry"), node(&after, "char/weighed_dry"));
    }

    #[test]
    fn removals_never_exceed_the_carbon_in_the_soil(lots in lots(), results in results()) {
        let statement = stated(&programme(&lots, &results));
        let mut most = Decimal::ZERO;
        for (feedstock, cited, renewable) in
            [("coconut_husk", "0.75", "1"), ("wood", "0.77", "0.5")]
        {
            let carbons: Vec<Decimal> = results
                .iter()
                .filter(|test| test.feedstock == feedstock)
                .map(|test| test.carbon_total)
                .collect();
            let carbon = if carbons.is_empty() {
                decimal(cited)
            } else {
                carbons.iter().sum::<Decimal>() / Decimal::from(carbons.len())
            };
            let to_soil = lots.iter().find(|lot| lot.feedstock == feedstock && lot.fate == "soil");
            most += to_soil.unwrap().dry_kg * carbon * decimal(renewable);
        }
        let most = most * decimal("44") / decimal("12") / decimal("1000");
        // Nodes are shown to eight digits.
        prop_assert!(node(&statement, "char/removals") <= most * decimal("1.0000001"));
    }

    #[test]
    fn the_order_of_lots_and_results_changes_no_byte(
        lots in lots(),
        (one, other) in results().prop_flat_map(|results| {
            (Just(results.clone()), Just(results).prop_shuffle())
        }),
    ) {
        let turned: Vec<CharLot> = lots.iter().rev().cloned().collect();
        prop_assert_eq!(json(&programme(&lots, &one)), json(&programme(&turned, &other)));
    }
}
