//! The demo: the invented programme from its CSV files to a statement, a bag, a
//! verdict, and the pages.

use super::serve::{block_on, serve, start};
use anyhow::{Context, Result, ensure};
use emberbook::accounting::statement::Statement;
use emberbook::config::Config;
use emberbook::report::summary;
use emberbook::service::demo::Loaded;
use emberbook::verify::{Options, verify};
use std::path::{Path, PathBuf};
use std::process::ExitCode;

pub fn run(config: &Config, seed: &Path, exit: bool) -> Result<ExitCode> {
    block_on(async {
        let running = start(config).await?;
        println!("Emberbook demo: an invented programme on an invented island district.");
        println!("It uses {}.", running.database);
        let loaded = running
            .service
            .load_seed(seed)
            .await
            .context("loading the seed")?;
        let (view, statement) = running
            .service
            .statement(&loaded.caller, loaded.statement.id)
            .await?;
        print_register(
            &running.service.overview(&loaded.caller).await?,
            loaded.fresh,
        );
        println!("\n{}", summary::text(&statement));
        println!("statement {}  sha256 {}", view.id, view.sha256);

        let bag = export(config, &running.service, &loaded).await?;
        let report = verify(&bag, &Options::default());
        println!("\nbag {}", bag.display());
        println!("{report}");
        ensure!(
            report.is_sound(),
            "the exported bag does not check out; if an earlier version of the program made {}, delete that folder and begin anew",
            config.data.display()
        );
        print_headline(&statement);
        if exit {
            running.stop().await?;
            return Ok(ExitCode::SUCCESS);
        }
        println!(
            "\nSign in at http://{}/sign-in with this token (shown once):",
            config.addr
        );
        println!("{}", loaded.token);
        println!("Stop with Ctrl-C.\n");
        serve(config, running).await
    })
}

fn print_register(overview: &emberbook::service::overview::Overview, fresh: bool) {
    let rows: u64 = overview.batches.iter().map(|batch| batch.rows).sum();
    let told = if fresh {
        "loaded"
    } else {
        "found as an earlier run left it"
    };
    println!(
        "Register {told}: {} households, {} deployments ({} ended); {} batches, {rows} rows.",
        overview.households,
        overview.deployments,
        overview.ended,
        overview.batches.len()
    );
}

/// Writes the bag beside the database.
async fn export(
    config: &Config,
    service: &emberbook::service::Service,
    loaded: &Loaded,
) -> Result<PathBuf> {
    let mut export = service.export(&loaded.caller).await?;
    let path = config.data.join(export.file_name());
    let mut file =
        std::fs::File::create(&path).with_context(|| format!("cannot write {}", path.display()))?;
    std::io::copy(&mut export.file, &mut file)?;
    Ok(path)
}

/// The last lines of the demo: what it is all for.
fn print_headline(statement: &Statement) {
    println!("\n{}", summary::headline(statement));
}
