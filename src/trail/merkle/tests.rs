//! Published roots and paths, and an independent library as oracle.

mod counts;
mod properties;
mod second;

use std::collections::{BTreeMap, HashMap};

use ct_merkle::mem_backed_tree::MemoryBackedTree;

use super::*;

/// The eight leaves of the certificate-transparency test data, in hex.
const LEAVES: [&str; 8] = [
    "",
    "00",
    "10",
    "2021",
    "3031",
    "40414243",
    "5051525354555657",
    "606162636465666768696a6b6c6d6e6f",
];

/// Roots over the first 0 to 8 of them, as published with those leaves. COMPUTED
/// again from the definition.
const ROOTS: [&str; 9] = [
    "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855",
    "6e340b9cffb37a989ca544e6bb780a2c78901d3fb33738768511a30617afa01d",
    "fac54203e7cc696cf0dfcb42c92a1d9dbaf70ad9e621f4bd8d98662f00e3c125",
    "aeb6bcfe274b70a14fb067a5e5578264db0fa9b51af5e0ba159158f329e06e77",
    "d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7",
    "4e3bbb1f7b478dcfe71fb631631519a3bca12c9aefca1612bfce4c13a86264d4",
    "76e67dadbcdf1e10e1b74ddc608abd2f98dfb16fbce75277b5232a127f2087ef",
    "ddb89be403809e325750d3d263cd78929c2942b7942a34b77e122c9594a74c8c",
    "5dc9da79a70659a9ad559cb701ded9a2ab9d823aad2f4960cfe370eff4604328",
];

/// Their leaf hashes, by RFC 6962 section 2.1. COMPUTED.
const LEAF_HASHES: [&str; 8] = [
    "6e340b9cffb37a989ca544e6bb780a2c78901d3fb33738768511a30617afa01d",
    "96a296d224f285c67bee93c30f8a309157f0daa35dc5b87e410b78630a09cfc7",
    "0298d122906dcfc10892cb53a73992fc5b9f493ea4c9badb27b791b4127a7fe7",
    "07506a85fd9dd2f120eb694f86011e5bb4662e5c415a62917033d4a9624487e7",
    "bc1a0643b12e4d2d7c77918f44e0f4f79a838b6cf9ec5b5c283e1f4d88599e6b",
    "4271a26be0d8a84f0bd54c8c302e7cb3a3b5d1fa6780a40bcce2873477dab658",
    "b08693ec2e721597130641e8211e7eedccb4c26413963eee6c1e2ed16ffb1a5f",
    "46f6ffadd3d06a09ff3c5860d2755c8b9819db7df44251788c7d8e3180de8eb1",
];

const NODE_2_3: &str = "5f083f0a1a33ca076a95279832580db3e0ef4584bdff1f54c8a360f50de3031e";
const NODE_4_7: &str = "6b47aaf29ee3c2af9af889bc1fb9254dabd31177f16232dd6aab035ca39bf6e4";
const NODE_6_7: &str = "ca854ea128ed050b41b35ffc1b87b8eb2bde461e9e3b5596ece6b9d5975a0ae0";
const NODE_4_5: &str = "0ebc5d3437fbe2db158b9f126a1d118e308181031d0a949f8dededebc558ef6a";

fn hash(text: &str) -> Hash {
    Hash::from_hex(text).unwrap()
}

fn hashes(texts: &[&str]) -> Vec<Hash> {
    texts.iter().map(|text| hash(text)).collect()
}

fn published_leaves() -> Vec<Hash> {
    LEAVES
        .iter()
        .map(|leaf| leaf_hash(&hex::decode(leaf).unwrap()))
        .collect()
}

fn leaves(count: u64) -> Vec<Hash> {
    (0..count)
        .map(|index| leaf_hash(&index.to_be_bytes()))
        .collect()
}

#[test]
fn single_hashes_are_the_published_ones() {
    // The hasher test of transparency-dev/merkle. SEEN-2ND.
    let leaf = "395aa064aa4c29f7010acfe3f25db9485bbd4b91897b6ad7ad547639252b4d56";
    assert_eq!(leaf_hash(b"L123456"), hash(leaf));
    let mut node = vec![1];
    node.extend(b"N123N456");
    // The vector joins texts shorter than a hash, so only the prefix is shared.
    let expected = "aa217fe888e47007fa15edab33c2b492a722cb106c64667fc2b044444de66bbb";
    assert_eq!(sha256(&node), hash(expected));
    let (left, right) = (leaf_hash(b"a"), leaf_hash(b"b"));
    let joined = [&[1][..], &left.0, &right.0].concat();
    assert_eq!(node_hash(&left, &right), sha256(&joined));
}

#[test]
fn roots_of_the_published_leaves_are_the_published_roots() {
    let leaves = published_leaves();
    assert_eq!(leaves, hashes(&LEAF_HASHES));
    let mut frontier = Frontier::new();
    for (size, root) in ROOTS.iter().enumerate() {
        assert_eq!(root_of(&leaves[..size]), hash(root), "size {size}");
        assert_eq!(root_at(size as u64, &Leaves(&leaves)), Ok(hash(root)));
        assert_eq!(frontier.root(), hash(root));
        if let Some(leaf) = leaves.get(size) {
            frontier.push(*leaf);
        }
    }
    assert_eq!(empty_root(), hash(ROOTS[0]));
}

/// Over the same leaves, by RFC 9162 section 2.1.3. COMPUTED.
#[test]
fn inclusion_paths_are_the_published_ones() {
    let leaves = published_leaves();
    let cases: [(u64, u64, Vec<Hash>); 5] = [
        (0, 1, vec![]),
        (0, 8, hashes(&[LEAF_HASHES[1], NODE_2_3, NODE_4_7])),
        (5, 8, hashes(&[LEAF_HASHES[4], NODE_6_7, ROOTS[4]])),
        (2, 3, hashes(&[ROOTS[2]])),
        (1, 5, hashes(&[LEAF_HASHES[0], NODE_2_3, LEAF_HASHES[4]])),
    ];
    for (index, size, path) in cases {
        assert_eq!(
            prove_inclusion(index, size, &Leaves(&leaves)).unwrap(),
            path,
            "{index}/{size}"
        );
        let root = hash(ROOTS[size as usize]);
        verify_inclusion(&leaves[index as usize], index, size, &path, &root).unwrap();
    }
}

/// Over the same leaves, by RFC 9162 section 2.1.4. COMPUTED; 6 to 8 is also
/// `testdata/consistency/2/happy-path.json` of transparency-dev/merkle, SEEN.
#[test]
fn consistency_proofs_are_the_published_ones() {
    let leaves = published_leaves();
    let cases: [(u64, u64, Vec<Hash>); 4] = [
        (1, 1, vec![]),
        (1, 8, hashes(&[LEAF_HASHES[1], NODE_2_3, NODE_4_7])),
        (6, 8, hashes(&[NODE_4_5, NODE_6_7, ROOTS[4]])),
        (2, 5, hashes(&[NODE_2_3, LEAF_HASHES[4]])),
    ];
    for (old, new, proof) in cases {
        assert_eq!(
            prove_consistency(old, new, &Leaves(&leaves)).unwrap(),
            proof,
            "{old} to {new}"
        );
        let (old_root, new_root) = (hash(ROOTS[old as usize]), hash(ROOTS[new as usize]));
        verify_consistency(old, new, &old_root, &new_root, &proof).unwrap();
    }
}

/// Oracle: the crate `ct-merkle`, an independent RFC 6962 tree.
#[test]
fn roots_and_proofs_equal_those_of_an_independent_library() {
    type Tree = MemoryBackedTree<sha2::Sha256, Vec<u8>>;
    let split = |bytes: &[u8]| -> Vec<Hash> {
        bytes
            .chunks(32)
            .map(|chunk| Hash::from_slice(chunk).unwrap())
            .collect()
    };
    let mut tree = Tree::new();
    let mut mine = Vec::new();
    let mut frontier = Frontier::new();
    let mut stored = HashMap::new();
    for size in 1_u64..=130 {
        let data = size.to_string().repeat(size as usize % 5).into_bytes();
        let leaf = leaf_hash(&data);
        tree.push(data);
        mine.push(leaf);
        stored.extend(frontier.push(leaf));
        let root = Hash::from_slice(tree.root().as_bytes()).unwrap();
        assert_eq!(frontier.root(), root);
        assert_eq!(root_at(size, &stored), Ok(root));
        for index in 0..size {
            let theirs = split(tree.prove_inclusion(index as usize).as_bytes());
            assert_eq!(prove_inclusion(index, size, &stored).unwrap(), theirs);
            verify_inclusion(&mine[index as usize], index, size, &theirs, &root).unwrap();
        }
        for old in 1..=size {
            let theirs = split(tree.prove_consistency((size - old) as usize).as_bytes());
            assert_eq!(prove_consistency(old, size, &stored).unwrap(), theirs);
            let old_root = root_of(&mine[..old as usize]);
            verify_consistency(old, size, &old_root, &root, &theirs).unwrap();
        }
    }
}

#[test]
fn a_proof_needs_no_node_but_the_announced_ones() {
    let leaves = leaves(100);
    let all = Leaves(&leaves);
    let only = |addresses: Vec<NodeAddress>| -> BTreeMap<NodeAddress, Hash> {
        addresses
            .into_iter()
            .map(|address| (address, all.node(address).unwrap()))
            .collect()
    };
    for size in 0..=100 {
        assert_eq!(
            root_at(size, &only(addresses_for_root(size))),
            root_at(size, &all)
        );
        for index in 0..size {
            let few = only(addresses_for_inclusion(index, size).unwrap());
            assert_eq!(
                prove_inclusion(index, size, &few),
                prove_inclusion(index, size, &all)
            );
        }
        for old in 1..=size {
            let few = only(addresses_for_consistency(old, size).unwrap());
            assert_eq!(
                prove_consistency(old, size, &few),
                prove_consistency(old, size, &all)
            );
        }
    }
    let none: HashMap<NodeAddress, Hash> = HashMap::new();
    assert!(matches!(
        root_at(5, &none),
        Err(MerkleError::MissingNode(_))
    ));
    assert!(matches!(
        Frontier::from_nodes(5, &none),
        Err(MerkleError::MissingNode(_))
    ));
}

#[test]
fn a_frontier_resumed_from_nodes_goes_on_as_if_never_stopped() {
    let leaves = leaves(70);
    let mut unbroken = Frontier::new();
    let mut stored = BTreeMap::new();
    for (size, leaf) in leaves.iter().enumerate() {
        let resumed = Frontier::from_nodes(size as u64, &stored).unwrap();
        assert_eq!(resumed, unbroken);
        let completed = unbroken.push(*leaf);
        assert_eq!(
            completed[0],
            (
                NodeAddress {
                    level: 0,
                    index: size as u64
                },
                *leaf
            )
        );
        for (address, hash) in completed {
            assert_eq!(Leaves(&leaves).node(address), Some(hash));
            assert_eq!(stored.insert(address, hash), None, "stored twice");
        }
    }
    assert_eq!(unbroken.size(), 70);
}

/// A tree of equal leaves: every perfect subtree of a level has one hash, so a
/// tree of any size fits here.
struct EqualLeaves(Vec<Hash>);

impl EqualLeaves {
    fn new() -> EqualLeaves {
        let mut levels = vec![leaf_hash(b"same")];
        for level in 0..64 {
            levels.push(node_hash(&levels[level], &levels[level]));
        }
        EqualLeaves(levels)
    }
}

impl NodeSource for EqualLeaves {
    fn node(&self, address: NodeAddress) -> Option<Hash> {
        self.0.get(usize::from(address.level)).copied()
    }
}

#[test]
fn trees_of_absurd_size_are_proved_and_checked_like_any_other() {
    let source = EqualLeaves::new();
    let leaf = source.0[0];
    let sizes = [
        1,
        3,
        1 << 32,
        (1 << 63) - 1,
        1 << 63,
        (1 << 63) + 1,
        u64::MAX - 1,
        u64::MAX,
    ];
    for size in sizes {
        let root = root_at(size, &source).unwrap();
        for index in [0, 1, 2, size / 2, size - 1, size] {
            let Ok(proof) = prove_inclusion(index, size, &source) else {
                assert!(index >= size);
                continue;
            };
            assert!(proof.len() <= LONGEST_PROOF);
            verify_inclusion(&leaf, index, size, &proof, &root).unwrap();
        }
        for old in [1, 3, size / 3, size / 2, size - 1, size] {
            let Ok(proof) = prove_consistency(old, size, &source) else {
                assert!(old == 0 || old > size);
                continue;
            };
            assert!(proof.len() <= LONGEST_PROOF);
            let old_root = root_at(old, &source).unwrap();
            verify_consistency(old, size, &old_root, &root, &proof).unwrap();
        }
    }
    assert_eq!(
        prove_consistency(3, u64::MAX, &source).unwrap().len(),
        LONGEST_PROOF
    );
    let size = LARGEST_FRONTIER + 1;
    assert_eq!(
        Frontier::from_nodes(size, &source),
        Err(MerkleError::TooLarge(size))
    );
    let mut frontier = Frontier::from_nodes(LARGEST_FRONTIER, &source).unwrap();
    assert_eq!(frontier.push(leaf).len(), 64);
    assert_eq!(frontier.root(), root_at(1 << 63, &source).unwrap());
}

#[test]
fn questions_without_an_answer_are_refused() {
    let leaves = leaves(4);
    let (source, root) = (Leaves(&leaves), root_of(&leaves));
    let outside = MerkleError::IndexOutside { index: 4, size: 4 };
    assert_eq!(prove_inclusion(4, 4, &source), Err(outside.clone()));
    assert_eq!(verify_inclusion(&root, 4, 4, &[], &root), Err(outside));
    assert!(verify_inclusion(&empty_root(), 0, 0, &[], &empty_root()).is_err());
    let reversed = MerkleError::SizesReversed { old: 5, new: 4 };
    assert_eq!(prove_consistency(5, 4, &source), Err(reversed.clone()));
    assert_eq!(verify_consistency(5, 4, &root, &root, &[]), Err(reversed));
    assert_eq!(
        prove_consistency(0, 4, &source),
        Err(MerkleError::EmptyOldTree)
    );
    let answer = verify_consistency(0, 4, &empty_root(), &root, &[]);
    assert_eq!(answer, Err(MerkleError::EmptyOldTree));
    assert_eq!(
        verify_consistency(0, 0, &empty_root(), &empty_root(), &[]),
        Ok(())
    );
    let long = vec![root; 100_000];
    assert!(verify_inclusion(&root, 0, u64::MAX, &long, &root).is_err());
    assert!(verify_consistency(1, u64::MAX, &root, &root, &long).is_err());
    for (level, index) in [
        (0, 4),
        (2, 1),
        (63, 1),
        (63, u64::MAX),
        (64, 0),
        (255, u64::MAX),
    ] {
        assert_eq!(source.node(NodeAddress { level, index }), None);
    }
}

#[test]
fn a_hash_has_one_spelling() {
    let hash = leaf_hash(b"x");
    assert_eq!(Hash::from_hex(&hash.to_string()), Ok(hash));
    assert_eq!(Hash::from_base64(&hash.to_base64()), Ok(hash));
    assert_eq!(
        serde_json::to_string(&hash).unwrap(),
        format!("\"{hash:?}\"")
    );
    assert_eq!(
        serde_json::from_str::<Hash>(&format!("\"{hash}\"")).unwrap(),
        hash
    );
    for wrong in [
        hash.to_string().to_uppercase(),
        "00".into(),
        "zz".repeat(32),
        String::new(),
    ] {
        assert_eq!(Hash::from_hex(&wrong), Err(HashError::NotHex), "{wrong}");
    }
    let text = hash.to_base64();
    let loose = text.trim_end_matches('=').to_owned();
    // 32 bytes leave two bits over in the last character: they must be zero.
    let spare_bits = format!("{}B=", "A".repeat(42));
    for wrong in [
        loose,
        spare_bits,
        format!("{text}\n"),
        text.replace('=', "A"),
        String::new(),
    ] {
        assert_eq!(
            Hash::from_base64(&wrong),
            Err(HashError::NotBase64),
            "{wrong}"
        );
    }
    assert_eq!(Hash::from_slice(&[0; 31]), Err(HashError::Length(31)));
}
