//! A printer family of a module, as tests use it.

use std::convert::Infallible;

use tapewright_host::{Driver, Failure, HostError, JobSpec, Module, Outcome, Readback, check};

use crate::printed::print;
use crate::{Found, Piece, Printed};

/// A family of a module that is linked to the test.
#[derive(Debug, Clone)]
pub struct Family {
    pub(crate) module: Module,
    pub(crate) name: String,
}

impl Family {
    /// The family `name` of `module`.
    ///
    /// # Panics
    ///
    /// When the module has no such family.
    pub fn new(module: Module, name: &str) -> Family {
        assert!(module.family(name).is_some(), "{} has no family {name}", module.name());
        Family { module, name: name.to_owned() }
    }

    /// The module.
    pub fn module(&self) -> Module {
        self.module
    }

    /// Prints a job. `says` is what the printer answers, one after the other, and then nothing.
    /// `split(n)` says how many of `n` lines to hand over next, and whether blank ones may go as
    /// blank lines. After a failure the job is cancelled.
    ///
    /// # Panics
    ///
    /// When no session can be opened or a failed job cannot be cancelled.
    pub fn print(
        &self,
        job: &JobSpec,
        pieces: &[Piece],
        says: &[&[u8]],
        split: impl FnMut(usize) -> (usize, bool),
    ) -> Printed {
        let session = self.module.open(&self.name).unwrap_or_else(|error| panic!("{error}"));
        print(session, job, pieces, says, split)
    }

    /// The stream of a job whose printer never answers; see [`Family::print`].
    ///
    /// # Errors
    ///
    /// Why the driver refused the job.
    ///
    /// # Panics
    ///
    /// As [`Family::print`].
    pub fn write(
        &self,
        job: &JobSpec,
        pieces: &[Piece],
        split: impl FnMut(usize) -> (usize, bool),
    ) -> Result<Vec<u8>, HostError> {
        let printed = self.print(job, pieces, &[], split);
        let stream = printed.stream();
        printed.result.map(|()| stream)
    }

    fn readback(&self) -> Readback {
        let readback = self.module.readback(&self.name).unwrap_or_else(|error| panic!("{error}"));
        readback.unwrap_or_else(|| panic!("{} does not read back", self.name))
    }

    /// Reads a stream in pieces of `step` bytes, at least 1.
    ///
    /// # Errors
    ///
    /// Why the driver refused the stream.
    ///
    /// # Panics
    ///
    /// When the family does not read back.
    pub fn read(&self, stream: &[u8], step: usize) -> Result<Found, HostError> {
        let host = |failure: Failure<Infallible>| match failure {
            Failure::Host(error) => error,
            Failure::Caller(never) => match never {},
        };
        let mut decoder = self.readback().decoder()?;
        let mut found = Found::default();
        for bytes in stream.chunks(step) {
            decoder.push(bytes, &mut found).map_err(host)?;
        }
        decoder.finish(&mut found).map_err(host)?;
        Ok(found)
    }

    /// How surely a stream that begins so is the family's, 0 to 100.
    ///
    /// # Panics
    ///
    /// When the family does not read back, or the module breaks its contract.
    pub fn recognises(&self, first: &[u8]) -> u8 {
        self.readback().recognises(first).unwrap_or_else(|error| panic!("{error}"))
    }

    /// The validator finds nothing. Returns the names of the checks it did not make: memory is
    /// looked at where a module has a process of its own, as in `tapewright drivers check`.
    ///
    /// # Panics
    ///
    /// When a check failed, or there are suspiciously few.
    pub fn passes_the_validator(&self) -> Vec<&'static str> {
        let name = &self.name;
        let checks = check(&Driver::from(self.module), name).unwrap_or_else(|error| panic!("{error}"));
        assert!(checks.len() > 10, "{name}: {checks:?}");
        for check in &checks {
            assert!(!matches!(check.outcome, Outcome::Failed(_)), "{name}: {check:?}");
        }
        let left_out = checks.iter().filter(|check| matches!(check.outcome, Outcome::NotChecked(_)));
        left_out.map(|check| check.name).collect()
    }
}
