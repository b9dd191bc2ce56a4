//! The draw against hashes that a shell made, and what it must refuse.

use super::*;
use proptest::prelude::*;

const SEED: &[u8] = b"round-7 beacon 3f9c";
const FRAME: [&str; 8] = [
    "HH-01", "HH-02", "HH-03", "HH-04", "HH-05", "HH-06", "HH-07", "HH-08",
];

/// Made with coreutils, on invented ids:
///
/// ```sh
/// seed='round-7 beacon 3f9c'
/// for i in 01 02 03 04 05 06 07 08; do id="HH-$i"
///   printf '%s  %s\n' "$(printf '%s%s' "$seed" "$id" | sha256sum | cut -d' ' -f1)" "$id"
/// done | LC_ALL=C sort
/// ```
const BY_SHELL: [(&str, &str); 8] = [
    (
        "0b5464f9be1f3ead71688502d6c19df5bb52d741cbd82fc0f7c9f8782b4ad1fd",
        "HH-06",
    ),
    (
        "0c4b757d8fe8c01ba047d506abf7d56963856a01be47a65f57cc7542faf32b79",
        "HH-03",
    ),
    (
        "2b8ac39f9e6fad43b35342ab3c3ff2d1f3b65092e63ceafcbfb89e03027e81e0",
        "HH-07",
    ),
    (
        "4050c575c6db4729d3ab59fe73bd1af6ec5ee84d7c2df66566b6205a91ac3107",
        "HH-08",
    ),
    (
        "6542fd72d6b9b26c23460bbc58d47351a20eac5e29707adaafab081035ef4675",
        "HH-02",
    ),
    (
        "7adedab499daf28a2ca133668de0a12ae15c400386a41e9e6bfe1f01ef049328",
        "HH-01",
    ),
    (
        "96618c85ca89bf950b7f86cc7fadcbc0988aaa376d38e80d7407c5e6074ed4e6",
        "HH-05",
    ),
    (
        "c55471694ab214ff0cd070137e1f1dd066d0863072457cf5d7e5ac0f26f1fd17",
        "HH-04",
    ),
];

fn names(ranked: &[Ranked]) -> Vec<&str> {
    ranked.iter().map(|ranked| ranked.unit.as_str()).collect()
}

#[test]
fn a_shell_draws_the_same_units_in_the_same_order() {
    let drawn = draw(SEED, &FRAME, 3).unwrap();
    let found: Vec<(&str, &str)> = drawn
        .sample
        .iter()
        .chain(&drawn.reserve)
        .map(|ranked| (ranked.hash.as_str(), ranked.unit.as_str()))
        .collect();
    assert_eq!(found, BY_SHELL);
    assert_eq!(names(&drawn.sample), ["HH-06", "HH-03", "HH-07"]);
}

#[test]
fn each_stratum_has_its_own_draw_by_the_same_hashes() {
    let strata = [
        Group {
            name: "coast",
            units: FRAME[..4].to_vec(),
            wanted: 2,
        },
        Group {
            name: "hills",
            units: FRAME[4..].to_vec(),
            wanted: 1,
        },
    ];
    let drawn = draw_strata(SEED, &strata).unwrap();
    assert_eq!(drawn[0].name, "coast");
    assert_eq!(names(&drawn[0].drawn.sample), ["HH-03", "HH-02"]);
    assert_eq!(names(&drawn[0].drawn.reserve), ["HH-01", "HH-04"]);
    assert_eq!(names(&drawn[1].drawn.sample), ["HH-06"]);
    assert_eq!(names(&drawn[1].drawn.reserve), ["HH-07", "HH-08", "HH-05"]);
}

/// The same shell lines over `north south east` give east, north, south.
#[test]
fn clusters_are_drawn_first_then_units_in_each() {
    let cluster = |name, units: &[&'static str]| Group {
        name,
        units: units.to_vec(),
        wanted: 1,
    };
    let clusters = [
        cluster("north", &FRAME[..3]),
        cluster("south", &FRAME[3..6]),
        cluster("east", &FRAME[6..]),
    ];
    let drawn = draw_clusters(SEED, &clusters, 2).unwrap();
    assert_eq!(names(&drawn.clusters.sample), ["east", "north"]);
    assert_eq!(names(&drawn.clusters.reserve), ["south"]);
    assert_eq!(
        drawn.clusters.sample[0].hash,
        "2110a637c44af5bb76844a8a5123d4d4556b408fe43a7b0e9cdd3ee76339d087"
    );
    let units: Vec<_> = drawn
        .units
        .iter()
        .map(|group| (group.name.as_str(), names(&group.drawn.sample)))
        .collect();
    assert_eq!(units, [("east", vec!["HH-07"]), ("north", vec!["HH-03"])]);
}

/// `printf 'HH-10\nHH-9\nhh-1\nHH-1\né\n' | LC_ALL=C sort | sha256sum`, with coreutils.
#[test]
fn the_hash_of_a_frame_is_that_of_its_sorted_lines() {
    let frame = ["HH-10", "HH-9", "hh-1", "HH-1", "é"];
    assert_eq!(
        frame_hash(&frame).unwrap(),
        "79bd8d387466b978352780eb73ae3bf4f8f2812c279634056b297c50d5a831e0"
    );
}

#[test]
fn what_cannot_be_drawn_fairly_is_refused() {
    let twice = StatisticsError::DuplicateUnit("a".to_owned());
    assert_eq!(draw(SEED, &["a", "b", "a"], 1), Err(twice.clone()));
    assert_eq!(frame_hash(&["a", "a"]), Err(twice.clone()));
    assert_eq!(draw(b"", &["a"], 1), Err(StatisticsError::NoSeed));
    assert!(draw(SEED, &["a", ""], 1).is_err());
    assert!(frame_hash(&["a\nb"]).is_err());
    let too_large = StatisticsError::DrawTooLarge {
        wanted: 2,
        found: 1,
    };
    assert_eq!(draw(SEED, &["a"], 2), Err(too_large));
    let group = |name| Group {
        name,
        units: vec!["a"],
        wanted: 1,
    };
    assert_eq!(draw_strata(SEED, &[group("x"), group("y")]), Err(twice));
    assert!(draw_clusters(SEED, &[group("x"), group("x")], 1).is_err());
}

proptest! {
    #[test]
    fn the_order_of_the_frame_and_the_size_of_the_sample_move_no_one(
        ids in prop::collection::btree_set("[a-z]{1,6}", 2..40),
        wanted in 0usize..40,
        turn in 0usize..40,
    ) {
        let mut frame: Vec<&str> = ids.iter().map(String::as_str).collect();
        let wanted = wanted.min(frame.len());
        let all = draw(SEED, &frame, frame.len()).unwrap();
        let turn = turn % frame.len();
        frame.rotate_left(turn);
        let some = draw(SEED, &frame, wanted).unwrap();
        let joined: Vec<Ranked> = some.sample.iter().chain(&some.reserve).cloned().collect();
        prop_assert_eq!(some.sample.len(), wanted);
        prop_assert_eq!(joined, all.sample);
        let hash = frame_hash(&frame).unwrap();
        frame.rotate_left(turn);
        prop_assert_eq!(frame_hash(&frame).unwrap(), hash);
    }
}
