//! Cosigned checkpoints, the keys of witnesses, and changes of a log's key.
#![no_main]

use emberbook_fuzz::seed_bag::signer;
use emberbook_fuzz::trail::checkpoint::Checkpoint;
use emberbook_fuzz::trail::cosignature::{
    WitnessKey, WitnessSigner, cosignatures, line_name, signed_text, strangers,
};
use emberbook_fuzz::trail::key_change::{KeyChain, KeyChange};
use emberbook_fuzz::trail::note::NoteSigner;
use libfuzzer_sys::fuzz_target;

fuzz_target!(|text: &str| {
    let witness = WitnessSigner::from_seed("witness.example", &[6; 32]).expect("a witness");
    let mut witnesses = vec![witness.key()];
    let first = text.lines().next().unwrap_or_default();
    let _ = line_name(first);
    if let Ok(key) = first.parse::<WitnessKey>() {
        assert_eq!(
            key.to_string().parse::<WitnessKey>().ok(),
            Some(key.clone())
        );
        witnesses.push(key);
    }
    let _ = witnesses[0].check(text, first);
    let _ = signed_text(text);
    let _ = cosignatures(text, &witnesses);
    let _ = strangers(text, signer().name(), &witnesses);
    // A change that holds is spelled in one way only.
    if let Ok(change) = KeyChange::open(text) {
        let mut chain = KeyChain::new(change.old.clone());
        chain
            .take(text, change.size, change.root)
            .expect("in its place");
        assert_eq!(chain.current(), &change.new);
    }
    if let Ok(checkpoint) = Checkpoint::parse(text) {
        let signed = checkpoint.sign(&signer());
        let cosigned = signed + &witness.cosign(text, checkpoint.size);
        let found = cosignatures(&cosigned, &witnesses).expect("it holds");
        assert_eq!(found[0].time, checkpoint.size);
        let name = signer().name().to_owned();
        let next = NoteSigner::from_seed(&name, &[7; 32]).expect("a key");
        let change = KeyChange::sign(checkpoint.size, checkpoint.root, &signer(), &next);
        let mut chain = KeyChain::new(signer().verifier_key());
        chain.follow(&change.expect("two keys")).expect("it holds");
        // The left key signs nothing above the change, and may sign up to it.
        let own = checkpoint.origin == name;
        assert_eq!(chain.open(&cosigned).is_ok(), own);
    }
});
