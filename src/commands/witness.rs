//! What a verifier does with keys and checkpoints on the own computer: no database, no
//! network.

use anyhow::{Context, Result, bail, ensure};
use emberbook::config::write_private;
use emberbook::trail::checkpoint::Checkpoint;
use emberbook::trail::cosignature::{WitnessKey, WitnessSigner, signed_text};
use emberbook::trail::key_change::KeyChain;
use emberbook::trail::merkle::{Hash, verify_consistency};
use emberbook::trail::note::VerifierKey;
use emberbook::trail::proof_file;
use emberbook::verify::{Options, proof};
use serde::Deserialize;
use std::path::{Path, PathBuf};
use std::process::ExitCode;

/// Makes a witness's key: the secret half into a new file, the other half printed.
pub fn witness_key(name: &str, file: &Path) -> Result<ExitCode> {
    let mut seed = [0; 32];
    getrandom::fill(&mut seed)
        .map_err(|e| anyhow::anyhow!("the system gave no random bytes: {e}"))?;
    let signer = WitnessSigner::from_seed(name, &seed)?;
    write_private(file, &format!("{name} {}", hex::encode(seed)))
        .with_context(|| format!("cannot write {}", file.display()))?;
    println!("{}", signer.key());
    Ok(ExitCode::SUCCESS)
}

/// What a cosignature is made from.
pub struct Cosigning {
    pub checkpoint: PathBuf,
    pub key_file: PathBuf,
    pub log_key: String,
    pub key_changes: Vec<PathBuf>,
    pub kept: Option<PathBuf>,
    pub proof: Option<PathBuf>,
    pub first: bool,
}

/// A consistency proof as the API answers with it; its roots are not taken from here.
#[derive(Deserialize)]
struct Consistency {
    path: Vec<String>,
}

/// Prints the cosignature of a checkpoint, after it was seen to extend the kept one.
pub fn cosign(given: &Cosigning) -> Result<ExitCode> {
    let signer = read_signer(&given.key_file)?;
    let key: VerifierKey = given.log_key.parse().context("--log-key")?;
    let mut chain = KeyChain::new(key);
    for file in &given.key_changes {
        chain
            .follow(&text(file)?)
            .with_context(|| format!("{}", file.display()))?;
    }
    let note = text(&given.checkpoint)?;
    let (new, _) = chain
        .open(&note)
        .with_context(|| format!("{}", given.checkpoint.display()))?;
    match (&given.kept, given.first) {
        (Some(kept), false) => {
            let (old, _) = chain
                .open(&text(kept)?)
                .with_context(|| format!("{}", kept.display()))?;
            must_extend(&old, &new, given.proof.as_deref())?;
        }
        (None, true) => {}
        _ => bail!(
            "name the checkpoint that you kept with --kept, or say --first if you never saw this log before"
        ),
    }
    let now = u64::try_from(chrono::Utc::now().timestamp())?;
    print!("{}", signer.cosign(signed_text(&note)?, now));
    Ok(ExitCode::SUCCESS)
}

fn must_extend(old: &Checkpoint, new: &Checkpoint, proof: Option<&Path>) -> Result<()> {
    let path: Vec<Hash> = match proof {
        Some(file) => {
            let proof: Consistency = serde_json::from_str(&text(file)?)
                .with_context(|| format!("{} is not a consistency proof", file.display()))?;
            let hashes = proof.path.iter().map(|hash| Hash::from_hex(hash));
            hashes.collect::<Result<_, _>>()?
        }
        None => Vec::new(),
    };
    ensure!(
        proof.is_some() || old.size == new.size,
        "--proof is needed: the consistency proof from {} to {} entries",
        old.size,
        new.size
    );
    verify_consistency(old.size, new.size, &old.root, &new.root, &path).with_context(|| {
        format!(
            "not cosigned: the log of {} entries was not shown to extend the {} that you kept",
            new.size, old.size
        )
    })
}

fn read_signer(file: &Path) -> Result<WitnessSigner> {
    let text = text(file)?;
    let form = || {
        format!(
            "{} does not hold a name and 64 hexadecimal digits",
            file.display()
        )
    };
    let (name, seed) = text.trim().split_once(' ').with_context(form)?;
    let seed: [u8; 32] = hex::decode(seed)
        .ok()
        .and_then(|bytes| bytes.try_into().ok())
        .with_context(form)?;
    Ok(WitnessSigner::from_seed(name, &seed)?)
}

/// Checks a proof, a JSON document or a `.tlog-proof`. Exit code 0 = it holds, 1 = not.
pub fn verify_proof(
    file: &Path,
    options: Options,
    leaf: Option<&Path>,
    json: bool,
) -> Result<ExitCode> {
    let bytes = std::fs::read(file).with_context(|| format!("cannot read {}", file.display()))?;
    let leaf = leaf
        .map(|file| std::fs::read(file).with_context(|| format!("cannot read {}", file.display())))
        .transpose()?;
    let report = if proof_file::is_proof_file(&bytes) {
        proof::check_file(&bytes, leaf.as_deref(), &options)
    } else {
        proof::check(&bytes, &options)
    };
    if json {
        println!("{}", serde_json::to_string_pretty(&report)?);
    } else {
        println!("{report}");
    }
    Ok(if report.is_sound() {
        ExitCode::SUCCESS
    } else {
        ExitCode::FAILURE
    })
}

/// What the reader brings along, from the texts of the command line.
pub fn options(key: Option<&str>, kept: Option<&Path>, witnesses: &[String]) -> Result<Options> {
    Ok(Options {
        key: key
            .map(str::parse)
            .transpose()
            .context("--key is not a verifier key")?,
        kept_checkpoint: kept.map(text).transpose()?,
        witnesses: witnesses
            .iter()
            .map(|text| text.parse::<WitnessKey>())
            .collect::<Result<_, _>>()
            .context("--witness is not the key of a witness")?,
    })
}

fn text(file: &Path) -> Result<String> {
    std::fs::read_to_string(file).with_context(|| format!("cannot read {}", file.display()))
}
