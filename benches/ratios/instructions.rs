//! Instructions of one draw, counted by another program: other work does not disturb them.

use crate::figures::grouped;
use anyhow::{Context, Result, ensure};
use std::process::{Command, Stdio};

type Counter = fn(u64) -> Result<f64>;

/// Instructions of one draw on one thread: the difference of two runs.
pub fn of_a_draw(draws: u64) -> String {
    let counters: [(&str, Counter); 2] = [
        ("perf", count_with_perf),
        ("callgrind, without AVX-512", count_with_callgrind),
    ];
    for (name, count) in counters {
        if let (Ok(less), Ok(more)) = (count(draws), count(2 * draws)) {
            let each = (more - less) / draws as f64;
            return format!("{}  by {name}", grouped(each, 0));
        }
    }
    "could not be counted: neither perf counters nor valgrind are at hand".to_owned()
}

fn count_with_perf(draws: u64) -> Result<f64> {
    let told = output(
        "perf",
        &["stat", "-x", ",", "-e", "instructions:u", "--"],
        draws,
    )?;
    let line = told.lines().find(|line| line.contains("instructions"));
    let count = line.and_then(|line| line.split(',').next());
    Ok(count.context("no count")?.parse()?)
}

fn count_with_callgrind(draws: u64) -> Result<f64> {
    let arguments = ["--tool=callgrind", "--callgrind-out-file=/dev/null"];
    let told = output("valgrind", &arguments, draws)?;
    let line = told.lines().find(|line| line.contains("Collected"));
    let count = line.and_then(|line| line.rsplit(' ').next());
    Ok(count.context("no count")?.parse()?)
}

/// What a counting program says of this one drawing.
fn output(counter: &str, arguments: &[&str], draws: u64) -> Result<String> {
    let done = Command::new(counter)
        .args(arguments)
        .arg(std::env::current_exe()?)
        .args(["--only-draw", &draws.to_string()])
        .stdin(Stdio::null())
        .output()?;
    ensure!(done.status.success(), "{counter} failed");
    Ok(String::from_utf8_lossy(&done.stderr).into_owned())
}
