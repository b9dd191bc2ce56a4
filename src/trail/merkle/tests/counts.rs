//! How much of a tree is read to append, to prove and to state a root: nodes counted.

use std::cell::Cell;

use super::*;

/// Hands out any node and counts how many it was asked for.
#[derive(Default)]
struct Counting(Cell<usize>);

impl NodeSource for Counting {
    fn node(&self, address: NodeAddress) -> Option<Hash> {
        self.0.set(self.0.get() + 1);
        Some(leaf_hash(&[address.level]))
    }
}

fn reads(work: impl FnOnce(&Counting)) -> usize {
    let source = Counting::default();
    work(&source);
    source.0.get()
}

/// Levels of a tree of this size.
fn levels(size: u64) -> usize {
    size.checked_ilog2().unwrap_or(0) as usize + 1
}

fn sizes() -> impl Iterator<Item = u64> {
    let small = 1..=300;
    let around_powers = (9..=40).flat_map(|bits| (1_u64 << bits) - 2..=(1 << bits) + 2);
    small.chain(around_powers)
}

#[test]
fn an_append_reads_one_node_a_level_at_most_and_writes_what_it_completes() {
    for size in sizes() {
        let read = reads(|source| {
            let mut frontier = Frontier::from_nodes(size, source).unwrap();
            let written = frontier.push(leaf_hash(b"new"));
            // The leaf, and a subtree for each bit of the size that carries.
            assert_eq!(written.len(), 1 + size.trailing_ones() as usize);
        });
        assert_eq!(read, size.count_ones() as usize);
        assert!(read <= levels(size), "{size}: {read}");
    }
}

#[test]
fn roots_and_proofs_read_two_nodes_a_level_at_most() {
    for size in sizes() {
        let bound = 2 * levels(size);
        let read = reads(|source| {
            root_at(size, source).unwrap();
        });
        assert!(read <= levels(size), "root at {size}: {read}");
        for index in [0, size / 3, size / 2, size - 1] {
            let read = reads(|source| {
                prove_inclusion(index, size, source).unwrap();
            });
            assert!(read <= bound, "leaf {index} of {size}: {read}");
            assert_eq!(read, addresses_for_inclusion(index, size).unwrap().len());
            let old = index + 1;
            let read = reads(|source| {
                prove_consistency(old, size, source).unwrap();
            });
            assert!(read <= bound, "{old} to {size}: {read}");
            assert_eq!(read, addresses_for_consistency(old, size).unwrap().len());
        }
    }
    // A million entries: some twenty nodes, not a million.
    let million = reads(|source| {
        prove_inclusion(777_777, 1_000_000, source).unwrap();
    });
    assert!((20..=40).contains(&million), "{million}");
}
