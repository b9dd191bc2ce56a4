//! Monte Carlo of a statement of 60 parameters and 200 cohorts, against the same model in numpy.
//!
//! Both draw the same distributions through the same operations, and their results must agree
//! within their own errors or the measurement fails. Seconds are taken inside both programs: the
//! start of Python and the reading of the model are not counted, ours counts the compiling.

use crate::figures::{Pair, Repeats, Section, grouped, ratios};
use crate::house::Sizes;
use crate::instructions::of_a_draw;
use anyhow::{Context, Result, bail, ensure};
use emberbook::statistics::StatisticsError;
use emberbook::statistics::monte_carlo::{
    Marginal, Model, ModelBuilder, Simulated, Summary, hypercube, simulate,
};
use serde::{Deserialize, Serialize};
use std::io::{BufRead, BufReader, Write};
use std::num::NonZero;
use std::process::{Child, ChildStdin, ChildStdout, Command, Stdio};
use std::time::Instant;

const PROBABILITIES: [f64; 3] = [0.05, 0.5, 0.95];
const OF_A_KIND: usize = 20;
const COHORTS: usize = 200;
/// Standard errors by which the two programs may differ.
const MOST_ERRORS: f64 = 4.5;
/// The generator of random numbers that numpy takes by itself, and the fastest that it has.
const USUAL: &str = "PCG64";
const FASTEST: &str = "SFC64";
/// Names the Python with numpy; `./dev bench` sets it.
const PYTHON: &str = "EMBERBOOK_BENCH_PYTHON";

/// The model as both programs read it.
#[derive(Debug, Serialize)]
struct Parameters {
    means: Vec<f64>,
    deviations: Vec<f64>,
    medians: Vec<f64>,
    sigmas: Vec<f64>,
    a: Vec<f64>,
    b: Vec<f64>,
    /// Weight, then which normal, lognormal, share, lognormal after and share after.
    cohorts: Vec<(f64, usize, usize, usize, usize, usize)>,
    probabilities: [f64; 3],
}

impl Parameters {
    fn new() -> Self {
        let each = |from: f64, step: f64| (0..OF_A_KIND).map(move |i| from + step * i as f64);
        Parameters {
            means: each(1.0, 0.1).collect(),
            deviations: each(0.1, 0.01).collect(),
            medians: each(2.0, 0.1).collect(),
            sigmas: each(0.1, 0.02).collect(),
            a: each(20.0, 3.0).collect(),
            b: each(5.0, 1.0).collect(),
            cohorts: (0..COHORTS)
                .map(|k| {
                    let weight = 1.0 + 0.01 * k as f64;
                    let at = |times: usize, more: usize| (k * times + more) % OF_A_KIND;
                    (
                        weight,
                        at(1, 0),
                        at(3, k / OF_A_KIND),
                        at(7, 2),
                        at(11, 5),
                        at(13, 1),
                    )
                })
                .collect(),
            probabilities: PROBABILITIES,
        }
    }

    fn compile(&self) -> Result<Model, StatisticsError> {
        let mut model = ModelBuilder::default();
        let (mut normals, mut lognormals, mut shares) = (Vec::new(), Vec::new(), Vec::new());
        for i in 0..OF_A_KIND {
            normals.push(model.independent(Marginal::Normal {
                mean: self.means[i],
                standard_deviation: self.deviations[i],
            })?);
            lognormals.push(model.independent(Marginal::Lognormal {
                median: self.medians[i],
                sigma: self.sigmas[i],
            })?);
            let (a, b) = (self.a[i], self.b[i]);
            shares.push(model.independent(Marginal::Beta { a, b })?);
        }
        let part = model.constant(0.3);
        let less: Vec<_> = shares
            .iter()
            .map(|share| model.product(&[part, *share]))
            .collect();
        let mut terms = Vec::new();
        for (weight, n, before, b, after, c) in &self.cohorts {
            let weight = model.constant(*weight);
            let rest = model.sum(&[(1.0, lognormals[*after]), (-1.0, less[*c])]);
            let factors = [weight, normals[*n], lognormals[*before], shares[*b], rest];
            terms.push((1.0, model.product(&factors)));
        }
        let total = model.sum(&terms);
        Ok(model.compile(&[total]))
    }
}

type Design = fn(&Model, u64, u64, &[f64], NonZero<usize>) -> Result<Simulated, StatisticsError>;

fn draw(design: Design, parameters: &Parameters, draws: u64, seed: u64) -> Result<Drawn> {
    let threads = std::thread::available_parallelism()?;
    let (began, worked) = (Instant::now(), processor_seconds()?);
    let model = parameters.compile()?;
    let mut found = design(&model, draws, seed, &PROBABILITIES, threads)?;
    let took = began.elapsed().as_secs_f64() * 1e3;
    let work = (processor_seconds()? - worked) * 1e3;
    let summary = found.outputs.pop().context("there is no output")?;
    Ok(Drawn {
        took,
        work,
        summary,
    })
}

/// Milliseconds by the clock and of all processors, and what was found.
struct Drawn {
    took: f64,
    work: f64,
    summary: Summary,
}

/// Processor time of this process so far, all threads together.
fn processor_seconds() -> Result<f64> {
    let mut time = libc::timespec {
        tv_sec: 0,
        tv_nsec: 0,
    };
    // SAFETY: `time` is a timespec of our own that the call writes to.
    let failed = unsafe { libc::clock_gettime(libc::CLOCK_PROCESS_CPUTIME_ID, &mut time) };
    ensure!(failed == 0, "the processor time is not told");
    Ok(time.tv_sec as f64 + time.tv_nsec as f64 / 1e9)
}

/// Draws and does nothing else, for a program that counts instructions.
pub fn only_draw(draws: Option<String>) -> Result<()> {
    let draws = draws.context("how many draws?")?.parse()?;
    let model = Parameters::new().compile()?;
    let one = NonZero::<usize>::MIN;
    let found = simulate(&model, draws, 1, &PROBABILITIES, one)?;
    println!("{}", found.outputs[0].mean);
    Ok(())
}

/// The reference program, waiting for requests.
struct Reference {
    child: Child,
    requests: ChildStdin,
    answers: BufReader<ChildStdout>,
    version: String,
}

#[derive(Debug, Deserialize)]
struct Answer {
    seconds: f64,
    processor_seconds: f64,
    mean: f64,
    deviation: f64,
    quantiles: Vec<f64>,
}

impl Reference {
    fn start(parameters: &Parameters) -> Result<Self> {
        let python = std::env::var(PYTHON).unwrap_or_else(|_| "python3".to_owned());
        let program = concat!(env!("CARGO_MANIFEST_DIR"), "/benches/ratios/monte_carlo.py");
        let mut child = Command::new(&python)
            .arg(program)
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .spawn()
            .with_context(|| format!("{python} is needed for the reference"))?;
        let mut requests = child.stdin.take().context("no way to ask")?;
        let answers = BufReader::new(child.stdout.take().context("no way to hear")?);
        writeln!(requests, "{}", serde_json::to_string(parameters)?)?;
        let mut reference = Reference {
            child,
            requests,
            answers,
            version: String::new(),
        };
        let told = reference.hear();
        let told =
            told.with_context(|| format!("{python} needs numpy; `./dev bench` installs it"))?;
        let told: serde_json::Value = serde_json::from_str(&told)?;
        reference.version = told["numpy"].as_str().unwrap_or("?").to_owned();
        Ok(reference)
    }

    fn hear(&mut self) -> Result<String> {
        let mut line = String::new();
        ensure!(
            self.answers.read_line(&mut line)? > 0,
            "the reference has ended"
        );
        Ok(line)
    }

    fn ask(&mut self, draws: u64, seed: u64, threads: usize, generator: &str) -> Result<Answer> {
        writeln!(self.requests, "{draws} {seed} {threads} {generator}")?;
        Ok(serde_json::from_str(&self.hear()?)?)
    }

    fn end(mut self) -> Result<()> {
        drop(self.requests);
        let status = self.child.wait()?;
        ensure!(status.success(), "the reference ended with {status}");
        Ok(())
    }
}

pub fn measure(sizes: &Sizes) -> Result<()> {
    let parameters = Parameters::new();
    let mut reference = Reference::start(&parameters)?;
    let threads = std::thread::available_parallelism()?.get();
    let mut repeats = Vec::new();
    for repeat in 0..=sizes.draw_repeats {
        let seed = 1_000 + repeat as u64;
        let ours = draw(simulate, &parameters, sizes.draws, seed)?;
        let theirs = reference.ask(sizes.draws, seed, 1, USUAL)?;
        agree(&ours.summary, &theirs, sizes.draws)?;
        let fastest = reference.ask(sizes.draws, seed + 300, 1, FASTEST)?;
        agree(&ours.summary, &fastest, sizes.draws)?;
        let threaded = reference.ask(sizes.draws, seed + 500, threads, FASTEST)?;
        agree(&ours.summary, &threaded, sizes.draws)?;
        let cube = draw(hypercube, &parameters, sizes.draws, seed)?;
        // The first is for warming up.
        if repeat > 0 {
            repeats.push(Repeat {
                ours,
                theirs,
                fastest,
                threaded,
                cube,
            });
        }
    }
    let version = reference.version.clone();
    reference.end()?;
    print(sizes, &version, &repeats);
    Ok(())
}

/// One repeat of everything.
struct Repeat {
    ours: Drawn,
    /// numpy on one thread with its usual generator of random numbers.
    theirs: Answer,
    /// The same with its fastest one.
    fastest: Answer,
    /// The fastest one on all cores.
    threaded: Answer,
    cube: Drawn,
}

/// Variance of plain sampling over that of the hypercube: of the mean, and of the 5 % quantile.
fn gain(plain: &Summary, cube: &Summary) -> (f64, f64) {
    let square = |ratio: f64| ratio * ratio;
    let error = |summary: &Summary| {
        summary
            .quantiles
            .first()
            .map_or(f64::NAN, |q| q.standard_error)
    };
    (
        square(plain.mean_error / cube.mean_error),
        square(error(plain) / error(cube)),
    )
}

/// Fails unless both programs found the same distribution within their own errors.
fn agree(ours: &Summary, theirs: &Answer, draws: u64) -> Result<()> {
    let n = draws as f64;
    let both = std::f64::consts::SQRT_2;
    let mut compared = vec![
        ("mean", ours.mean, theirs.mean, both * ours.mean_error),
        (
            "standard deviation",
            ours.standard_deviation,
            theirs.deviation,
            // Twice that of a normal, for the longer tail.
            both * 2.0 * ours.standard_deviation / (2.0 * n).sqrt(),
        ),
    ];
    ensure!(
        theirs.quantiles.len() == ours.quantiles.len(),
        "quantiles are missing"
    );
    for (quantile, value) in ours.quantiles.iter().zip(&theirs.quantiles) {
        compared.push((
            "quantile",
            quantile.value,
            *value,
            both * quantile.standard_error,
        ));
    }
    for (what, ours, theirs, error) in compared {
        let close = (ours - theirs).abs() <= MOST_ERRORS * error;
        if !close {
            bail!("the programs disagree on the {what}: {ours} and {theirs}, error {error}");
        }
    }
    Ok(())
}

fn print(sizes: &Sizes, version: &str, repeats: &[Repeat]) {
    let mut lines = told(sizes, repeats.len());
    lines.extend(times(version, repeats));
    lines.push(("instructions per draw", of_a_draw(sizes.draws)));
    lines.extend(hypercubes(repeats));
    let title = "d. Monte Carlo";
    println!("{}", Section { title, lines });
}

type Lines = Vec<(&'static str, String)>;

/// What each side does for its time.
fn told(sizes: &Sizes, repeats: usize) -> Lines {
    let draws = grouped(sizes.draws as f64, 0);
    let over = format!(
        "{draws} draws of 60 parameters and {COHORTS} cohorts; {repeats} repeats in turn, median (spread)"
    );
    vec![
        ("over", over),
        (
            "both do",
            "20 normals, 20 lognormals, 20 betas a draw; every cohort by itself, in double precision;"
                .to_owned(),
        ),
        (
            "",
            "mean, standard deviation and three quantiles. Neither finds contributions to the variance.".to_owned(),
        ),
        (
            "this program, besides",
            "compiles the model and its tables, finds the errors of mean and quantiles".to_owned(),
        ),
        (
            "numpy, before",
            "has started and has read the model; its random numbers need no inverse functions".to_owned(),
        ),
    ]
}

/// Medians of what the repeats come to.
fn over(repeats: &[Repeat], pick: impl Fn(&Repeat) -> f64) -> Repeats {
    Repeats::of(repeats.iter().map(pick))
}

fn times(version: &str, repeats: &[Repeat]) -> Lines {
    let milliseconds = |pick: fn(&Repeat) -> f64| over(repeats, pick).show("ms", 1);
    let times = |pick: fn(&Repeat) -> f64| over(repeats, pick).show("", 1);
    let ours = milliseconds(|one| one.ours.took);
    let theirs = milliseconds(|one| one.theirs.seconds * 1e3);
    let fastest = milliseconds(|one| one.fastest.seconds * 1e3);
    let threaded = milliseconds(|one| one.threaded.seconds * 1e3);
    let faster = times(|one| one.theirs.seconds * 1e3 / one.ours.took);
    let than_fastest = times(|one| one.fastest.seconds * 1e3 / one.ours.took);
    let than_threaded = times(|one| one.threaded.seconds * 1e3 / one.ours.took);
    let work = milliseconds(|one| one.ours.work);
    let less = times(|one| one.theirs.processor_seconds * 1e3 / one.ours.work);
    let less_than_fastest = times(|one| one.fastest.processor_seconds * 1e3 / one.ours.work);
    let pairs: Vec<Pair> = repeats
        .iter()
        .map(|one| Pair {
            service: one.ours.took,
            reference: one.theirs.seconds * 1e3,
        })
        .collect();
    vec![
        ("this program", format!("{ours}  all cores")),
        (
            "reference",
            format!("{theirs}  numpy {version}, one thread, its usual generator {USUAL}"),
        ),
        (
            "",
            format!("{fastest}  one thread, its fastest generator {FASTEST}"),
        ),
        ("", format!("{threaded}  all cores, {FASTEST}")),
        ("ratio of the times", ratios(&pairs).show("", 3)),
        (
            "times faster",
            format!("{faster}  than numpy on one thread, {USUAL}"),
        ),
        (
            "",
            format!("{than_fastest}  than numpy on one thread, {FASTEST}"),
        ),
        (
            "",
            format!("{than_threaded}  than numpy on all cores, {FASTEST}"),
        ),
        (
            "processor time",
            format!("{work}  of this program, all cores together"),
        ),
        (
            "times less work",
            format!("{less}  processor time, {USUAL}; other programs disturb it least"),
        ),
        ("", format!("{less_than_fastest}  {FASTEST}")),
    ]
}

fn hypercubes(repeats: &[Repeat]) -> Lines {
    let gains = |one: &Repeat| gain(&one.ours.summary, &one.cube.summary);
    let took = over(repeats, |one| one.cube.took).show("ms", 1);
    let of_mean = over(repeats, |one| gains(one).0).show("", 1);
    let of_tail = over(repeats, |one| gains(one).1).show("", 2);
    // Time of numpy for the error that the hypercube reaches, over the time of the hypercube.
    let equal = over(repeats, |one| {
        one.theirs.seconds * 1e3 * gains(one).1 / one.cube.took
    });
    let equal = equal.show("", 1);
    vec![
        ("hypercube", took),
        (
            "plain draws it is worth",
            format!("{of_mean}  for the mean"),
        ),
        ("", format!("{of_tail}  for the 5 % quantile")),
        (
            "at equal error",
            format!("{equal}  times faster than numpy, 5 % quantile"),
        ),
    ]
}
