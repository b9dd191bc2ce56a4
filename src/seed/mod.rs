//! The invented programme of the demo, made from a seed number.
//!
//! Every household is worked out from the number and its own index alone, in
//! whole numbers only: the same number gives the same bytes on every machine,
//! and a file of any size is written without holding the programme in memory.

mod baseline;
mod calendar;
mod char_sample;
mod cooking;
mod dice;
mod household;
mod kitchen;
mod moisture;
pub mod programme;
mod register;
mod stove_bench;
#[cfg(test)]
mod tests;
mod usage;
mod weighing;

use crate::accounting::records::RoundKind;
use calendar::Calendar;
use dice::{Dice, Purpose};
use programme::Round;
use std::fs::{self, File};
use std::io::{self, BufWriter, Write};
use std::path::{Path, PathBuf};

/// The seed number of the committed `seed/` folder.
pub const COMMITTED_SEED: u64 = 2016;

/// How large the invented programme is.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Scale {
    /// Stove units handed out over all years; about 1060 households for each 1200.
    pub deployments: u64,
    /// First calendar year with a deployment.
    pub first_year: i32,
    /// Calendar years with deployments; the last one is the monitoring period.
    pub years: u32,
    /// Households in each kitchen test round.
    pub kitchens: u64,
    /// Stoves looked for in each age band of a usage survey.
    pub answers_per_age_band: u64,
    /// Households whose char is weighed each month of the last year.
    pub weighed_households: u64,
}

impl Default for Scale {
    /// The scale of the committed `seed/` folder.
    fn default() -> Self {
        Scale {
            deployments: 1200,
            first_year: 2023,
            years: 3,
            kitchens: 40,
            answers_per_age_band: 42,
            weighed_households: 50,
        }
    }
}

/// Why no seed was written.
#[derive(Debug, thiserror::Error)]
pub enum SeedError {
    #[error("the scale of the seed is not usable: {0}")]
    Scale(&'static str),
    #[error("the seed file {path} cannot be written: {problem}")]
    File { path: PathBuf, problem: io::Error },
}

/// One file of the seed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SeedFile {
    /// E.g. `households.csv`.
    pub name: String,
    content: Content,
}

#[derive(Debug, Clone, PartialEq, Eq)]
enum Content {
    Programme,
    Households,
    Deployments,
    DeploymentEnds,
    Round(Round),
}

/// An invented programme: a scale and a number.
#[derive(Debug, Clone)]
pub struct Seed {
    scale: Scale,
    number: u64,
    calendar: Calendar,
}

impl Seed {
    /// # Errors
    /// Fewer than 2 or more than 20 years, years outside 2001 to 2090, or no deployments.
    pub fn new(scale: Scale, number: u64) -> Result<Self, SeedError> {
        if scale.deployments == 0 {
            return Err(SeedError::Scale("it needs at least one deployment"));
        }
        if scale.deployments > 1_000_000_000 {
            return Err(SeedError::Scale(
                "it takes at most a thousand million deployments",
            ));
        }
        let calendar = Calendar::new(scale.first_year, scale.years)?;
        Ok(Seed {
            scale,
            number,
            calendar,
        })
    }

    /// The files in the order in which a programme would send them.
    pub fn files(&self) -> Vec<SeedFile> {
        let named = |name: &str, content| SeedFile {
            name: name.to_owned(),
            content,
        };
        let mut files = vec![
            named("programme.json", Content::Programme),
            named("households.csv", Content::Households),
            named("deployments.csv", Content::Deployments),
            named("deployment-ends.csv", Content::DeploymentEnds),
        ];
        files.extend(self.calendar.rounds.iter().map(|round| SeedFile {
            name: round.file.clone(),
            content: Content::Round(round.clone()),
        }));
        files
    }

    /// Writes one of [`Seed::files`].
    ///
    /// # Errors
    /// Those of `out`.
    pub fn write(&self, file: &SeedFile, out: &mut dyn Write) -> io::Result<()> {
        match &file.content {
            Content::Programme => programme::write(&self.calendar, out),
            Content::Households => register::write_households(self, out),
            Content::Deployments => register::write_deployments(self, out),
            Content::DeploymentEnds => register::write_deployment_ends(self, out),
            Content::Round(round) => match round.kind {
                RoundKind::UsageSurvey => usage::write(self, round, out),
                RoundKind::KitchenBaseline => kitchen::write_baseline(self, round, out),
                RoundKind::KitchenProject => kitchen::write_project(self, round, out),
                RoundKind::CharWeighing => weighing::write(self, round, out),
                RoundKind::BaselineSurvey => baseline::write(self, round, out),
                RoundKind::CookingTest => cooking::write(self, round, out),
                RoundKind::StoveTest => stove_bench::write(self, round, out),
                RoundKind::CharLab => char_sample::write(self, round, out),
                RoundKind::Moisture => moisture::write(self, round, out),
            },
        }
    }

    fn dice(&self, purpose: Purpose, index: u64) -> Dice {
        Dice::new(self.number, purpose, index)
    }
}

/// Writes every file of the seed into a folder, which is made where it is missing.
///
/// # Errors
/// The scale is not usable, or a file cannot be written.
pub fn write_folder(path: &Path, scale: &Scale, seed: u64) -> Result<(), SeedError> {
    let seed = Seed::new(scale.clone(), seed)?;
    let failed = |path: &Path| {
        let path = path.to_path_buf();
        move |problem| SeedError::File { path, problem }
    };
    fs::create_dir_all(path).map_err(failed(path))?;
    for file in seed.files() {
        let target = path.join(&file.name);
        let write = || -> io::Result<()> {
            let mut out = BufWriter::new(File::create(&target)?);
            seed.write(&file, &mut out)?;
            out.flush()
        };
        write().map_err(failed(&target))?;
    }
    Ok(())
}
