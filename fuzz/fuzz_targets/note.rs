//! Signed notes, checkpoints, keys and proof files.
#![no_main]

use emberbook_fuzz::seed_bag::signer;
use emberbook_fuzz::trail::checkpoint::Checkpoint;
use emberbook_fuzz::trail::merkle::{leaf_hash, verify_inclusion};
use emberbook_fuzz::trail::note::{self, VerifierKey};
use emberbook_fuzz::trail::proof_file;
use libfuzzer_sys::fuzz_target;

fuzz_target!(|text: &str| {
    let mut keys = vec![signer().verifier_key()];
    if let Ok(key) = text
        .lines()
        .next()
        .unwrap_or_default()
        .parse::<VerifierKey>()
    {
        assert_eq!(
            key.to_string().parse::<VerifierKey>().ok(),
            Some(key.clone())
        );
        keys.push(key);
    }
    let _ = note::open(text, &keys);
    let _ = Checkpoint::open(text, &keys);
    if let Ok(checkpoint) = Checkpoint::parse(text) {
        let signed = checkpoint.sign(&signer());
        assert_eq!(Checkpoint::open(&signed, &keys).ok(), Some(checkpoint));
    }
    if let Ok(proof) = proof_file::parse(text) {
        let leaf = leaf_hash(b"x");
        let _ = verify_inclusion(&leaf, proof.index, 1000, &proof.path, &leaf);
    }
});
