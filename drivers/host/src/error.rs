//! What can go wrong between the program and a driver module.

use std::fmt;
use std::path::PathBuf;

use tapewright_abi::value::FaultKind;

/// A module, or the way it was used, is not in order.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum HostError {
    /// The file cannot be used as a driver module.
    Load {
        /// The file.
        path: PathBuf,
        /// What was found and what was wanted.
        problem: String,
    },
    /// A file that describes a family cannot be used; the module and its other families can.
    FamilyFile {
        /// The file.
        path: PathBuf,
        /// Where, what was found and what was wanted.
        problem: String,
    },
    /// The module has no such family.
    NoFamily {
        /// Name of the module.
        module: String,
        /// The family asked for.
        family: String,
        /// The families it has.
        known: Vec<String>,
    },
    /// The driver reported that it cannot go on.
    Fault(Fault),
    /// The module did something `driver.h` rules out. It must not be used any more.
    Broken {
        /// Name of the module.
        module: String,
        /// What it did, and what was wanted.
        what: String,
    },
    /// The module's own process is gone.
    Died {
        /// Name of the module.
        module: String,
        /// How it ended.
        how: String,
    },
    /// The caller broke the order of calls or the counts it announced; the call had no effect.
    Misuse {
        /// What was called, and what was wanted.
        what: String,
    },
}

/// What a driver said when it could not go on.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Fault {
    /// Name of the module.
    pub module: String,
    /// Which sort of trouble.
    pub kind: FaultKind,
    /// The family's own number; 0 when it has none.
    pub code: u32,
    /// One sentence.
    pub text: String,
    /// The same job may succeed when it is sent again.
    pub retry: bool,
}

impl fmt::Display for HostError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            HostError::Load { path, problem } => {
                write!(f, "driver module {}: {problem}", path.display())
            }
            HostError::FamilyFile { path, problem } => {
                write!(f, "family file {}: {problem}", path.display())
            }
            HostError::NoFamily { module, family, known } => {
                write!(f, "driver module {module} has no family {family}, it has {}", known.join(", "))
            }
            HostError::Fault(fault) => {
                write!(f, "driver module {}: {}", fault.module, fault.text)
            }
            HostError::Broken { module, what } => {
                write!(f, "driver module {module} broke the contract: {what}")
            }
            HostError::Died { module, how } => write!(f, "driver module {module} died: {how}"),
            HostError::Misuse { what } => write!(f, "driver called wrongly: {what}"),
        }
    }
}

impl std::error::Error for HostError {}

/// Two sides can fail while bytes or lines pass from a module to the caller.
#[derive(Debug)]
pub enum Failure<E> {
    /// The module.
    Host(HostError),
    /// The caller's [`Sink`](crate::Sink) or [`Events`](crate::Events).
    Caller(E),
}

impl<E> From<HostError> for Failure<E> {
    fn from(error: HostError) -> Self {
        Failure::Host(error)
    }
}

impl<E: fmt::Display> fmt::Display for Failure<E> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Failure::Host(error) => error.fmt(f),
            Failure::Caller(error) => error.fmt(f),
        }
    }
}

impl<E: std::error::Error + 'static> std::error::Error for Failure<E> {}
