//! Verdicts for people: colour where a terminal shows them, and a word of what goes on meanwhile.

use emberbook::verify::Level;
use std::io::{IsTerminal, Write};

const GREEN: &str = "\x1b[32m";
const RED: &str = "\x1b[31m";
const PLAIN: &str = "\x1b[0m";

/// Prints a verdict to standard output: in colour on a terminal, unless `NO_COLOR` is set to
/// anything (the convention of no-color.org).
pub fn print(verdict: &str) {
    let asked_not_to = std::env::var_os("NO_COLOR").is_some_and(|value| !value.is_empty());
    if std::io::stdout().is_terminal() && !asked_not_to {
        println!("{}", painted(verdict));
    } else {
        println!("{verdict}");
    }
}

/// The words that decide, in colour.
fn painted(verdict: &str) -> String {
    let paint = |line: &str| {
        let (words, colour) = [
            (" ok ", GREEN),
            ("FAILED", RED),
            ("NOT verified", RED),
            ("NOT in order", RED),
            ("verified:", GREEN),
            ("in order:", GREEN),
        ]
        .into_iter()
        .find(|(words, _)| decides(line, words))
        .unwrap_or(("", PLAIN));
        match words {
            "" => line.to_owned(),
            words => line.replacen(words, &format!("{colour}{words}{PLAIN}"), 1),
        }
    };
    verdict.lines().map(paint).collect::<Vec<_>>().join("\n")
}

/// Whether these words stand where a verdict puts them, not somewhere in a fault's sentence.
fn decides(line: &str, words: &str) -> bool {
    line.find(words).is_some_and(|at| at <= 10) && !line.starts_with("          ")
}

/// Says on a terminal which check is under way; nothing is left of it afterwards.
pub struct Meanwhile {
    shown: bool,
}

impl Meanwhile {
    pub fn new(wanted: bool) -> Self {
        Meanwhile {
            shown: wanted && std::io::stderr().is_terminal(),
        }
    }

    pub fn tell(&self, level: Level) {
        if self.shown {
            // That nobody can be told is no reason to stop.
            let _ = write!(std::io::stderr(), "\r\x1b[Kchecking the {} …", level.name());
        }
    }
}

impl Drop for Meanwhile {
    fn drop(&mut self) {
        if self.shown {
            let _ = write!(std::io::stderr(), "\r\x1b[K");
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_the_words_of_the_verdict_are_painted() {
        let text = "bag       ok      1 file\n\
                    trail     FAILED  1 fault(s)\n          data/x: this is not ok as it is\n\
                    NOT verified: see the faults above";
        let painted = painted(text);
        let lines: Vec<&str> = painted.lines().collect();
        assert_eq!(lines[0], format!("bag      {GREEN} ok {PLAIN}     1 file"));
        assert_eq!(
            lines[1],
            format!("trail     {RED}FAILED{PLAIN}  1 fault(s)")
        );
        assert_eq!(lines[2], "          data/x: this is not ok as it is");
        assert_eq!(
            lines[3],
            format!("{RED}NOT verified{PLAIN}: see the faults above")
        );
    }
}
