//! The command line: parse, call, exit code.

mod commands;

use clap::{Parser, Subcommand};
use commands::witness::Cosigning;
use commands::{audit, backup, demo, offline, serve, witness as witnessing};
use emberbook::config::Config;
use emberbook::service::tokens::TOKEN_DAYS;
use std::path::PathBuf;
use std::process::ExitCode;

/// Emissions accounting for programmes that give households char-making gasifier cookstoves.
#[derive(Parser)]
#[command(version, about)]
struct Cli {
    #[command(subcommand)]
    command: Command,
}

#[derive(Subcommand)]
enum Command {
    /// Serve the pages and the API.
    Serve {
        #[command(flatten)]
        config: Config,
    },
    /// Load the invented demo programme, state a period, export and check it, then serve.
    Demo {
        #[command(flatten)]
        config: Config,
        /// Folder of the demo's CSV files.
        #[arg(long, default_value = "seed")]
        seed: PathBuf,
        /// Do all that, but do not serve.
        #[arg(long)]
        exit: bool,
    },
    /// Check an exported bag without any database or network: hashes, signature, every
    /// row's proof, and every figure computed again. Exit code 0 = all holds, 1 = it does not,
    /// or there is no such bag, 2 = the question cannot be read.
    Verify {
        /// The bag: a folder or a .tar.gz.
        bag: PathBuf,
        /// The key that checkpoints must be signed with, from a source you trust.
        #[arg(long)]
        key: Option<String>,
        /// A checkpoint that you kept from an earlier visit.
        #[arg(long, value_name = "FILE")]
        kept: Option<PathBuf>,
        /// The key of a witness who must have cosigned; may be given several times.
        #[arg(long, value_name = "KEY")]
        witness: Vec<String>,
        /// The verdict as JSON.
        #[arg(long)]
        json: bool,
    },
    /// Check the proof of a record or of a figure: the JSON document of the API, or a
    /// .tlog-proof. Exit code 0 = it holds, 1 = it does not.
    VerifyProof {
        file: PathBuf,
        /// The key that the checkpoint must be signed with, from a source you trust.
        #[arg(long)]
        key: Option<String>,
        /// The key of a witness who must have cosigned; may be given several times.
        #[arg(long, value_name = "KEY")]
        witness: Vec<String>,
        /// The bytes that a .tlog-proof is of, where it does not bring them.
        #[arg(long, value_name = "FILE")]
        leaf: Option<PathBuf>,
        /// The verdict as JSON.
        #[arg(long)]
        json: bool,
    },
    /// Make the key of a witness: its secret half goes into a new file, the half to register
    /// and to pin is printed.
    WitnessKey {
        /// Name of the witness, like a URL without its scheme.
        name: String,
        /// File to write; an existing one is not replaced.
        #[arg(long, value_name = "FILE", default_value = "witness-key.txt")]
        key_file: PathBuf,
    },
    /// Cosign a checkpoint as a witness, after it was seen to extend the one that you kept.
    /// Prints the line to send.
    Cosign {
        /// The checkpoint.
        checkpoint: PathBuf,
        /// The file that `witness-key` wrote.
        #[arg(long, value_name = "FILE")]
        key_file: PathBuf,
        /// The log's key, from a source you trust.
        #[arg(long, value_name = "KEY")]
        log_key: String,
        /// The note of a change of the log's key since; may be given several times, in order.
        #[arg(long, value_name = "FILE")]
        key_change: Vec<PathBuf>,
        /// The checkpoint that you kept from your last visit.
        #[arg(long, value_name = "EARLIER")]
        kept: Option<PathBuf>,
        /// The consistency proof between the two, as the API answers.
        #[arg(long, value_name = "FILE")]
        proof: Option<PathBuf>,
        /// You never saw this log before.
        #[arg(long, conflicts_with = "kept")]
        first: bool,
    },
    /// Change the key that signs checkpoints: make a new one, and hand over to it in each
    /// programme's trail by an entry that both keys sign.
    RotateLogKey {
        #[command(flatten)]
        config: Config,
    },
    /// Hold every table of the live database against its trail, and the trail against its
    /// signed heads; state every statement again. Nothing is changed, and the service may run.
    /// Exit code 0 = in order, 1 = it is not, 2 = it could not be looked at.
    Audit {
        #[command(flatten)]
        config: Config,
        /// Code of the programme; without it all of them, and rows that belong to none.
        #[arg(long, value_name = "CODE")]
        programme: Option<String>,
        /// The key that checkpoints must be signed with, from a source you trust.
        #[arg(long)]
        key: Option<String>,
        /// A checkpoint that you kept from an earlier visit. Give --programme with it.
        #[arg(long, value_name = "FILE", requires = "programme")]
        kept: Option<PathBuf>,
        /// The verdicts as JSON.
        #[arg(long)]
        json: bool,
    },
    /// Dump the database into a new file by PostgreSQL's pg_dump; the service may run. The key
    /// that signs checkpoints is not in it.
    Backup {
        #[command(flatten)]
        config: Config,
        /// The file to write.
        file: PathBuf,
    },
    /// Fill an empty database from a file of `backup`. Of the private PostgreSQL the service
    /// must not run.
    Restore {
        #[command(flatten)]
        config: Config,
        /// The file to read.
        file: PathBuf,
    },
    /// Print the connection URL of the database, for PostgreSQL's own programs. A private
    /// PostgreSQL that does not run is started, and runs until Ctrl-C.
    DatabaseUrl {
        #[command(flatten)]
        config: Config,
    },
    /// Redo the draw of a round without any database or network: prints hash and id of each
    /// drawn unit, the sample first, then the reserve.
    Redraw {
        /// The ids of the frame, or of one of its strata, one a line.
        #[arg(long, value_name = "FILE")]
        frame: PathBuf,
        /// The seed as the trail has it.
        #[arg(long, value_name = "HEX")]
        seed: String,
        /// Units of the sample.
        #[arg(long, value_name = "N")]
        wanted: usize,
        /// Units of the reserve.
        #[arg(long, value_name = "M", default_value_t = 0)]
        reserve: usize,
    },
    /// Print a new token that may create programmes. It is shown once.
    OperatorToken {
        #[command(flatten)]
        config: Config,
        /// What the token is for.
        label: String,
        /// Days until it expires, 366 at the most.
        #[arg(long, default_value_t = TOKEN_DAYS)]
        days: u32,
    },
    /// Print a new manager token of a programme that has lost its own. It is shown once.
    ManagerToken {
        #[command(flatten)]
        config: Config,
        /// Code of the programme.
        programme: String,
        /// What the token is for.
        label: String,
        /// Days until it expires, 366 at the most.
        #[arg(long, default_value_t = TOKEN_DAYS)]
        days: u32,
    },
    /// Write the invented demo programme's CSV files.
    Seed {
        /// Folder to write into.
        folder: PathBuf,
    },
    /// Print the API description, OpenAPI 3.1.
    Openapi,
}

fn main() -> ExitCode {
    let outcome = match Cli::parse().command {
        Command::Serve { config } => serve::run(&config),
        Command::Demo { config, seed, exit } => demo::run(&config, &seed, exit),
        Command::Verify {
            bag,
            key,
            kept,
            witness,
            json,
        } => witnessing::options(key.as_deref(), kept.as_deref(), &witness)
            .and_then(|options| offline::verify(&bag, &options, json)),
        Command::VerifyProof {
            file,
            key,
            witness,
            leaf,
            json,
        } => witnessing::options(key.as_deref(), None, &witness)
            .and_then(|options| witnessing::verify_proof(&file, options, leaf.as_deref(), json)),
        Command::WitnessKey { name, key_file } => witnessing::witness_key(&name, &key_file),
        Command::Cosign {
            checkpoint,
            key_file,
            log_key,
            key_change,
            kept,
            proof,
            first,
        } => witnessing::cosign(&Cosigning {
            checkpoint,
            key_file,
            log_key,
            key_changes: key_change,
            kept,
            proof,
            first,
        }),
        Command::RotateLogKey { config } => serve::rotate_log_key(&config),
        Command::Audit {
            config,
            programme,
            key,
            kept,
            json,
        } => {
            let asked = audit::Asked {
                programme: programme.as_deref(),
                key: key.as_deref(),
                kept: kept.as_deref(),
                json,
            };
            audit::run(&config, &asked)
        }
        Command::Backup { config, file } => backup::backup(&config, &file),
        Command::Restore { config, file } => backup::restore(&config, &file),
        Command::DatabaseUrl { config } => backup::database_url(&config),
        Command::Redraw {
            frame,
            seed,
            wanted,
            reserve,
        } => offline::redraw(&frame, &seed, wanted, reserve),
        Command::OperatorToken {
            config,
            label,
            days,
        } => serve::operator_token(&config, &label, days),
        Command::ManagerToken {
            config,
            programme,
            label,
            days,
        } => serve::manager_token(&config, &programme, &label, days),
        Command::Seed { folder } => offline::seed(&folder),
        Command::Openapi => offline::openapi(),
    };
    outcome.unwrap_or_else(|error| {
        eprintln!("emberbook: {error:#}");
        ExitCode::from(2)
    })
}
