//! Replicates together: factors ready for the library, and sets that are none.

use super::*;
use crate::accounting::factor::Spread;
use crate::accounting::methodology::CharPlace;
use crate::accounting::replicates::FactorNaming;

fn naming() -> FactorNaming {
    FactorNaming {
        code: "ef-plume-2025".into(),
        version: 1,
        fuel_class: Some("wood".into()),
    }
}

/// Three burns with char yields 0.20, 0.18 and 0.22.
fn three() -> Vec<PlumeTest> {
    [("P-1", "0.20"), ("P-2", "0.18"), ("P-3", "0.22")]
        .map(|(code, mass_yield)| PlumeTest {
            test_code: code.into(),
            char: Some(CharLeft {
                mass_yield: decimal(mass_yield),
                carbon: decimal("0.80"),
            }),
            ..with_char()
        })
        .into()
}

#[test]
fn replicates_make_factors_that_say_where_they_come_from() {
    let found = report(&three(), Some(&naming())).unwrap();
    let factors: Vec<_> = found
        .species
        .iter()
        .map(|species| species.factor.clone().expect("a factor"))
        .collect();
    assert_eq!(factors.len(), 6);
    let soot = factors
        .iter()
        .find(|factor| factor.species.as_deref() == Some("BC"))
        .unwrap();
    assert_eq!(soot.code, "ef-plume-2025-gasifier-prunings-BC");
    // Yields lie evenly around that of the worked example, so its factor is the mean.
    close(soot.value, "0.39254", "0.000005");
    assert_eq!(soot.unit, "g/kg dry fuel");
    assert_eq!(
        soot.source,
        "Carbon-balance tests P-1, P-2, P-3 at Invented field team, 2025-03-04 to 2025-03-04"
    );
    // The error of a mean of a, b, c a step of 0.016 kg carbon apart: 0.57726 * 0.016 / 0.5 /
    // sqrt(3) = 0.0106650; times t/z 1.775225 (R, COMPUTED) = 0.0189330.
    let Spread::Normal { standard_deviation } = soot.spread else {
        panic!("{:?}", soot.spread);
    };
    close(standard_deviation, "0.0189330", "0.000001");
    let note = soot.note.as_deref().unwrap();
    assert!(
        note.contains("Mean of 3 tests") && note.contains("efficiency 0.952381"),
        "{note}"
    );
    assert_eq!(soot.char_treatment, None);
    assert_eq!(factors[0].species.as_deref(), Some("CO2"));
    assert_eq!(factors[0].char_treatment, Some(CharPlace::CarbonBalance));
}

#[test]
fn a_factor_without_char_lets_no_char_count() {
    let tests: Vec<PlumeTest> = three()
        .into_iter()
        .map(|test| PlumeTest { char: None, ..test })
        .collect();
    let found = report(&tests, Some(&naming())).unwrap();
    for species in &found.species {
        let factor = species.factor.as_ref().unwrap();
        assert_eq!(factor.char_treatment, None);
        assert!(factor.note.as_deref().unwrap().contains("overstates"));
    }
}

#[test]
fn sets_that_are_no_replicates_are_refused() {
    let mut mixed = three();
    mixed[1].char = None;
    assert!(matches!(report(&mixed, None), Err(BalanceError::Mixed(_))));
    let mut devices = three();
    devices[2].device = "three_stone_fire".into();
    assert!(matches!(
        report(&devices, None),
        Err(BalanceError::Mixed(_))
    ));
    let mut twice = three();
    twice[1].test_code = "P-1".into();
    let said = report(&twice, None).unwrap_err().to_string();
    assert_eq!(said, "test P-1 stands twice");
    let mut broken = three();
    broken[1].plume.co_ppm = Decimal::ZERO;
    let said = report(&broken, None).unwrap_err().to_string();
    assert!(said.starts_with("test P-2: CO of the plume"), "{said}");
    assert!(report(&[], None).is_err());
    let alone = report(&three()[..1], Some(&naming())).unwrap();
    assert!(alone.species.iter().all(|species| species.factor.is_none()));
}

proptest! {
    /// Whatever a request brings is worked out or refused, never stumbled over.
    #[test]
    fn no_number_is_stumbled_over(picks in prop::collection::vec(0_usize..7, 12)) {
        let edges = [
            Decimal::MAX, Decimal::MIN, Decimal::ZERO, Decimal::ONE, Decimal::new(1, 28),
            Decimal::new(5, 1), Decimal::from(90_000),
        ];
        let at = |place: usize| edges[picks[place]];
        let mut any = with_char();
        any.plume = Air {
            co2_ppm: at(0), co_ppm: at(1), ch4_ppm: Some(at(2)), nmvoc_ppm_carbon: Some(at(3)),
            pm25_mg_per_m3: Some(at(4)), bc_mg_per_m3: Some(at(5)), oc_mg_per_m3: Some(at(5)),
        };
        any.background = Air { co2_ppm: Decimal::ZERO, co_ppm: Decimal::ZERO, ..any.plume.clone() };
        any.fuel_carbon = at(6);
        any.char = Some(CharLeft { mass_yield: at(7), carbon: at(8) });
        any.nmvoc_g_per_mol_carbon = Some(at(9));
        any.fuel_dry_kg_per_h = Some(at(10));
        any.pm25_carbon = Some(at(11));
        let other = PlumeTest { test_code: "P-2".into(), ..any.clone() };
        if let Ok(found) = report(&[any, other], Some(&naming())) {
            prop_assert_eq!(found.tests.len(), 2);
        }
    }
}
