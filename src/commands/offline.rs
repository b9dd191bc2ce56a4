//! Commands that need neither database nor network.

use super::verdict::{self, Meanwhile};
use anyhow::{Context, Result};
use emberbook::seed::{COMMITTED_SEED, Scale, write_folder};
use emberbook::statistics::draw::{draw, frame_hash};
use emberbook::verify::{Options, verify_telling};
use std::path::Path;
use std::process::ExitCode;

/// Checks a bag and prints the verdict. Exit code 0 = sound, 1 = not.
pub fn verify(bag: &Path, options: &Options, json: bool) -> Result<ExitCode> {
    let meanwhile = Meanwhile::new(!json);
    let report = verify_telling(bag, options, &mut |level| meanwhile.tell(level));
    drop(meanwhile);
    if json {
        println!("{}", serde_json::to_string_pretty(&report)?);
    } else {
        verdict::print(&report.to_string());
    }
    Ok(if report.is_sound() {
        ExitCode::SUCCESS
    } else {
        ExitCode::FAILURE
    })
}

/// Writes the demo's files.
pub fn seed(folder: &Path) -> Result<ExitCode> {
    write_folder(folder, &Scale::default(), COMMITTED_SEED)?;
    println!("wrote the invented programme to {}", folder.display());
    Ok(ExitCode::SUCCESS)
}

/// Prints the API description.
pub fn openapi() -> Result<ExitCode> {
    println!("{}", emberbook::api::openapi_json()?);
    Ok(ExitCode::SUCCESS)
}

/// Redoes a draw from a frame's ids, one a line. Prints `hash  unit`, the sample first.
pub fn redraw(frame: &Path, seed: &str, wanted: usize, reserve: usize) -> Result<ExitCode> {
    let text = std::fs::read_to_string(frame)
        .with_context(|| format!("cannot read {}", frame.display()))?;
    let ids: Vec<&str> = text.lines().collect();
    let hash = frame_hash(&ids).context("the frame")?;
    let drawn = draw(seed.as_bytes(), &ids, wanted).context("the draw")?;
    eprintln!("frame of {} units, sha256 {hash}", ids.len());
    for ranked in drawn
        .sample
        .iter()
        .chain(drawn.reserve.iter().take(reserve))
    {
        println!("{}  {}", ranked.hash, ranked.unit);
    }
    Ok(ExitCode::SUCCESS)
}
