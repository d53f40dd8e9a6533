//! `cargo verify`: everything that must hold before a change lands.

use std::io::{BufRead, BufReader};
use std::process::Stdio;
use std::time::Instant;

use crate::children::{self, cargo, command};
use crate::documents::Documents;
use crate::isolation::Isolation;
use crate::licences::Checker;
use crate::packages::Lack;
use crate::{Problem, packages, say};

/// Names what this machine cannot get, so that the tests that need it say that they are skipped and do not fail.
const LEFT_OUT: &str = "CONSORT_LEFT_OUT";

/// Where proptest reads what its cases are drawn from.
const SEED: &str = "PROPTEST_RNG_SEED";

pub(crate) fn run(options: &[String]) -> Result<(), Problem> {
    if let Some(unknown) = options.first() {
        return Err(format!("cargo verify takes no options, “{unknown}” included"));
    }
    let lacks = packages::ensure_for_tests()?;
    for lack in &lacks {
        say(&format!("   The {} tests are left out: {}.", lack.what, lack.why));
    }
    step("style", || cargo(&["fmt", "--all", "--check"]))?;
    step("lints", || {
        cargo(&[
            "clippy",
            "--quiet",
            "--workspace",
            "--all-targets",
            "--locked",
            "--",
            "-D",
            "warnings",
        ])
    })?;
    step("the tests' build", || {
        cargo(&["test", "--quiet", "--workspace", "--locked", "--no-run"])
    })?;
    // Tests wait for sound and time-outs; builds leave nothing idle.
    let checker = Checker::begin();
    let mut documents = Documents::default();
    step("tests", || tests(&lacks, || documents.begin()))?;
    step("documents", || documents.check())?;
    step("licences, bans and sources", || checker.check())
}

fn step(name: &str, check: impl FnOnce() -> Result<(), Problem>) -> Result<(), Problem> {
    say(&format!("── {name}"));
    let begun = Instant::now();
    check()?;
    say(&format!("   {name}: {} s", begun.elapsed().as_secs()));
    Ok(())
}

/// Runs every test on a private network and counts what ran; `running` is told once nothing is built any more.
fn tests(lacks: &[Lack], running: impl FnOnce()) -> Result<(), Problem> {
    let mut run = match Isolation::find() {
        Some(isolation) => isolation.command("cargo"),
        None if children::in_ci() => {
            return Err("no private network can be made here, and unattended runs leave nothing out".to_owned());
        }
        None => {
            say("   No private network can be made here: the tests that announce themselves are skipped.");
            command("cargo")
        }
    };
    run.args(["test", "--workspace", "--locked", "--offline", "--no-fail-fast"])
        .env(
            LEFT_OUT,
            lacks.iter().map(|lack| lack.what).collect::<Vec<_>>().join(","),
        )
        .stdout(Stdio::piped());
    if children::in_ci() {
        let seed = seed_of(&children::commit());
        say(&format!("   Properties are tried from {SEED}={seed}."));
        run.env(SEED, seed.to_string());
    }
    let mut child = run
        .spawn()
        .map_err(|error| format!("the tests cannot be started: {error}"))?;
    let mut count = Count::default();
    let mut running = Some(running);
    if let Some(output) = child.stdout.take() {
        for line in BufReader::new(output).lines().map_while(Result::ok) {
            if let Some(running) = running.take() {
                running();
            }
            count.read(&line);
            say(&line);
        }
    }
    let status = child
        .wait()
        .map_err(|error| format!("the tests cannot be waited for: {error}"))?;
    say(&count.closing_line());
    for lack in lacks {
        say(&format!(
            "left out, since this machine cannot get what they need: the {} tests",
            lack.what
        ));
    }
    if !status.success() {
        Err("not every test passed: what is printed above says which".to_owned())
    } else if children::in_ci() {
        whole(lacks)
    } else {
        Ok(())
    }
}

/// What the cases of properties are drawn from where nobody attends: each commit has its own, and whoever tries it again
/// gets the same ones.
fn seed_of(commit: &str) -> u64 {
    let digits = commit.get(..15).unwrap_or_default();
    u64::from_str_radix(digits, 16).unwrap_or_default()
}

/// What unattended runs are held to: nobody would read there that some tests were left out.
fn whole(lacks: &[Lack]) -> Result<(), Problem> {
    if lacks.is_empty() {
        return Ok(());
    }
    let what: Vec<&str> = lacks.iter().map(|lack| lack.what).collect();
    Err(format!(
        "the {} tests were left out, and unattended runs leave nothing out: what stands at the top says what is missing",
        what.join(" and ")
    ))
}

/// How many tests ran, over all test programs.
#[derive(Debug, Default, Eq, PartialEq)]
struct Count {
    passed: u32,
    failed: u32,
    skipped: u32,
}

impl Count {
    /// Adds a line such as `test result: ok. 3 passed; 0 failed; 1 ignored; …`.
    fn read(&mut self, line: &str) {
        let Some(result) = line.strip_prefix("test result: ") else {
            return;
        };
        for part in result.split([';', '.']).map(str::trim) {
            let Some((number, word)) = part.split_once(' ') else {
                continue;
            };
            let Ok(number) = number.parse::<u32>() else { continue };
            match word {
                "passed" => self.passed += number,
                "failed" => self.failed += number,
                "ignored" => self.skipped += number,
                _ => {}
            }
        }
    }

    fn closing_line(&self) -> String {
        format!(
            "{} passed, {} failed, {} skipped",
            self.passed, self.failed, self.skipped
        )
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_run_that_nobody_watches_leaves_no_test_out() {
        assert_eq!(whole(&[]), Ok(()));
        let lack = |what| Lack {
            what,
            why: "the archive cannot be reached".to_owned(),
        };
        let problem = whole(&[lack("sound"), lack("browser")]).expect_err("two groups of tests did not run");
        assert!(
            problem.starts_with("the sound and browser tests were left out"),
            "{problem}"
        );
    }

    #[test]
    fn each_commit_draws_its_own_cases_and_no_commit_the_same_ones() {
        assert_eq!(seed_of("00000000000001f3a2b4"), 31);
        assert_eq!(seed_of("ffffffffffffffffffff"), (1 << 60) - 1);
        assert_eq!([seed_of(""), seed_of("main is not a commit")], [0, 0]);
    }

    #[test]
    fn the_closing_line_adds_up_every_test_program() {
        let mut count = Count::default();
        for line in [
            "running 4 tests",
            "test result: ok. 3 passed; 0 failed; 1 ignored; 0 measured; 0 filtered out; finished in 0.20s",
            "test result: FAILED. 9 passed; 2 failed; 0 ignored; 0 measured; 5 filtered out; finished in 1.00s",
        ] {
            count.read(line);
        }
        assert_eq!(
            count,
            Count {
                passed: 12,
                failed: 2,
                skipped: 1
            }
        );
        assert_eq!(count.closing_line(), "12 passed, 2 failed, 1 skipped");
    }
}
