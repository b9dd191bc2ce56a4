//! Loading the invented programme of `seed/` by the very use cases that a
//! programme's own staff would go through.

use super::batches::Upload;
use super::drawn_rounds::SeedRequest;
use super::periods::NewPeriod;
use super::programmes::NewProgramme;
use super::register::{Site, StoveModel};
use super::rounds::NewRound;
use super::statements::{NewStatement, StatementView};
use super::tokens::TokenRequest;
use super::upload::Spooled;
use super::{Caller, Once, Role, Service, ServiceError};
use crate::accounting::records::RoundKind;
use crate::accounting::rounds::plan::{
    PrecisionKind, RoundPlan, SampleAllocation, SampleDesign, SampleUnit,
};
use crate::intake::BatchKind;
use crate::seed::programme::ProgrammeFile;
use rust_decimal::Decimal;
use std::path::Path;

/// What the seed folder became.
pub struct Loaded {
    pub caller: Caller,
    /// A fresh manager token for the browser.
    pub token: String,
    pub statement: StatementView,
    /// False where an earlier run had loaded it all.
    pub fresh: bool,
}

impl Service {
    /// Loads the seed programme and states its period; a second run adds a token and nothing else.
    pub async fn load_seed(&self, folder: &Path) -> Result<Loaded, ServiceError> {
        let file: ProgrammeFile = serde_json::from_slice(&read(folder, "programme.json")?)
            .map_err(|e| ServiceError::Internal(format!("programme.json: {e}")))?;
        let code = file.code.to_ascii_lowercase();
        let fresh = !self.programme_exists(&code).await?;
        let token = if fresh {
            let new = NewProgramme {
                code,
                name: file.name.clone(),
                manager_label: "demo office".into(),
            };
            self.found_programme(&new).await?.manager_token.secret
        } else {
            // The first one was shown once and is kept nowhere.
            let request = TokenRequest::of(Role::Manager, "demo browser");
            self.operator_issues_token(&code, &request).await?
        };
        let mut caller = self.caller_by_token(&token).await?;
        caller.label = "demo office".into();
        self.load_frame(&caller, &file).await?;
        for (kind, name) in [
            (BatchKind::Households, "households.csv"),
            (BatchKind::Deployments, "deployments.csv"),
            (BatchKind::DeploymentEnds, "deployment-ends.csv"),
        ] {
            self.load_file(&caller, kind, None, folder, name).await?;
        }
        for round in &file.rounds {
            let kind = BatchKind::of_round(round.kind);
            self.load_file(&caller, kind, Some(&round.code), folder, &round.file)
                .await?;
        }
        let known = self.statements(&caller).await?;
        let statement = match known
            .into_iter()
            .find(|known| known.period == file.period.code)
        {
            Some(known) => known,
            None => {
                let new = NewStatement {
                    period: file.period.code.clone(),
                    methodology: file.methodology.to_string(),
                    restate: false,
                };
                self.make_statement(&caller, &new, &Once::unkeyed()).await?
            }
        };
        self.draw_next_round(&caller, &file).await?;
        Ok(Loaded {
            caller,
            token,
            statement,
            fresh,
        })
    }

    /// Plans and draws the usage survey of the coming year, where that is not done yet. The
    /// surveys that the seed's rows come from were drawn before, and are described in words.
    async fn draw_next_round(
        &self,
        caller: &Caller,
        file: &ProgrammeFile,
    ) -> Result<(), ServiceError> {
        let starts_on = file.period.ends_on;
        let code = format!("usage-{}", starts_on.format("%Y"));
        let known = self.rounds(caller).await?;
        if known.iter().any(|view| view.round.code == code) {
            return Ok(());
        }
        let round = NewRound {
            code: code.clone(),
            kind: RoundKind::UsageSurvey.code().into(),
            starts_on,
            ends_on: starts_on + chrono::Days::new(365),
            design: "Simple random sample of the stoves in service, drawn by the program.".into(),
            plan: Some(RoundPlan {
                purpose: "Share of the stoves in use in the coming year (invented).".into(),
                unit: SampleUnit::Stove,
                frame_on: starts_on,
                frame_from: None,
                design: SampleDesign::SimpleRandom,
                strata_by: Vec::new(),
                allocation: SampleAllocation::Proportional,
                strata: Vec::new(),
                units_in_each: None,
                confidence: Decimal::new(90, 2),
                precision: Decimal::new(10, 2),
                precision_is: PrecisionKind::Relative,
                expected_share: Some(Decimal::new(85, 2)),
                expected_mean: None,
                expected_standard_deviation: None,
                design_effect: Decimal::ONE,
                expected_response: Decimal::new(90, 2),
                reserve: 2,
            }),
        };
        let once = Once::unkeyed();
        self.open_round(caller, &round, &once).await?;
        self.take_frame(caller, &code, &once).await?;
        let public = SeedRequest {
            words: "07 14 22 31 40 45".into(),
            source: "numbers of a lottery that does not exist; invented for the demo".into(),
        };
        self.fix_seed(caller, &code, &public, &once).await?;
        Ok(())
    }

    /// Sites, models, rounds and the period, where they are not there yet.
    async fn load_frame(&self, caller: &Caller, file: &ProgrammeFile) -> Result<(), ServiceError> {
        let once = Once::unkeyed();
        let known = self.sites(caller).await?;
        for site in file
            .sites
            .iter()
            .filter(|s| known.iter().all(|k| k.code != s.code))
        {
            let site = Site {
                code: site.code.clone(),
                name: site.name.clone(),
            };
            self.add_site(caller, &site, &once).await?;
        }
        let known = self.stove_models(caller).await?;
        for model in &file.stove_models {
            if known
                .iter()
                .any(|k| k.code == model.code && k.version == model.version)
            {
                continue;
            }
            let model = StoveModel {
                code: model.code.clone(),
                version: model.version,
                name: model.name.clone(),
                device: model.device_class.clone(),
                char_making: model.char_making,
            };
            self.add_stove_model(caller, &model, &once).await?;
        }
        let known = self.rounds(caller).await?;
        for round in file
            .rounds
            .iter()
            .filter(|r| known.iter().all(|k| k.round.code != r.code))
        {
            let round = NewRound {
                code: round.code.clone(),
                kind: round.kind.code().into(),
                starts_on: round.starts_on,
                ends_on: round.ends_on,
                design: round.design.clone(),
                plan: None,
            };
            self.open_round(caller, &round, &once).await?;
        }
        let known = self.periods(caller).await?;
        if known.iter().all(|k| k.period.code != file.period.code) {
            let period = NewPeriod {
                code: file.period.code.clone(),
                starts_on: file.period.starts_on,
                ends_on: file.period.ends_on,
            };
            self.open_period(caller, &period, &once).await?;
        }
        Ok(())
    }

    async fn load_file(
        &self,
        caller: &Caller,
        kind: BatchKind,
        round: Option<&str>,
        folder: &Path,
        name: &str,
    ) -> Result<(), ServiceError> {
        let upload = Upload {
            kind,
            round: round.map(str::to_owned),
            file_name: Some(name.to_owned()),
            file: Spooled::from_bytes(&read(folder, name)?)?,
        };
        self.accept_batch(caller, upload, None).await?;
        Ok(())
    }
}

fn read(folder: &Path, name: &str) -> Result<Vec<u8>, ServiceError> {
    let path = folder.join(name);
    std::fs::read(&path).map_err(|e| ServiceError::Internal(format!("{}: {e}", path.display())))
}
