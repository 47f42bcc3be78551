//! The validator a module's author runs: what can be seen of a driver from outside.
//!
//! [`check`] uses a [`Driver`] as the program does, and as a clumsy program would. It works on a
//! module in this process and on one in its own; the second is the better choice, since a module
//! that fails may fail badly.

mod bench;
mod jobs;
mod memory;
mod probe;
mod seen;

pub(crate) use probe::probe;

use crate::{Driver, FamilyInfo, HostError};

/// One thing that was looked at.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Check {
    /// What, in a few words.
    pub name: &'static str,
    /// How it went.
    pub outcome: Outcome,
}

/// How a check went.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Outcome {
    /// In order; what was tried or measured.
    Passed(String),
    /// What was found and what was wanted.
    Failed(String),
    /// Not looked at, and why.
    NotChecked(String),
}

/// Checks a family of a module: contract, determinism, lines, cuts, replies, cancelling, memory,
/// reading back. Takes a few seconds.
///
/// # Errors
///
/// [`HostError::NoFamily`]. What the driver does wrong is in the checks.
pub fn check(driver: &Driver, family: &str) -> Result<Vec<Check>, HostError> {
    let Some(info) = driver.family(family) else {
        return Err(HostError::NoFamily {
            module: driver.name().to_owned(),
            family: family.to_owned(),
            known: driver.families().iter().map(|info| info.id.clone()).collect(),
        });
    };
    let bench = match bench::Bench::new(driver, info) {
        Ok(bench) => bench,
        Err(text) => return Ok(vec![Check { name: "a job is accepted", outcome: Outcome::Failed(text) }]),
    };
    let mut checks = vec![Check { name: "description", outcome: described(info) }];
    for (name, look) in jobs::CHECKS {
        let outcome = look(&bench).unwrap_or_else(Outcome::Failed);
        checks.push(Check { name, outcome });
    }
    let probed = driver.probe(family, bench.job(), bench.cuts_off());
    checks.push(Check {
        name: "contract: wrong calls and small buffers",
        outcome: match probed {
            Ok(found) if found.is_empty() => {
                Outcome::Passed(format!("{} wrong calls refused, output fetched byte by byte", probe::WRONG_CALLS))
            }
            Ok(found) => Outcome::Failed(found.join("; ")),
            Err(error) => Outcome::Failed(error.to_string()),
        },
    });
    Ok(checks)
}

/// What loading does not check of a description.
fn described(info: &FamilyInfo) -> Outcome {
    let mut lacking = Vec::new();
    for (what, text) in [("title", &info.title), ("version", &info.version), ("description", &info.description)] {
        if text.trim().is_empty() {
            lacking.push(format!("{what} is empty"));
        }
    }
    for option in &info.options {
        if option.help.trim().is_empty() {
            lacking.push(format!("option {} has no help", option.id));
        }
    }
    if lacking.is_empty() {
        Outcome::Passed(format!("{} options, {} patterns", info.options.len(), info.patterns.len()))
    } else {
        Outcome::Failed(lacking.join("; "))
    }
}
