//! A module that is looked at through its process.

use std::path::{Path, PathBuf};

use super::Apart;
use super::decoder::Decoder;
use super::message::{Answer, Described, Request};
use super::process::Process;
use super::session::Session;
use super::steps::Batch;
use crate::{FamilyInfo, HostError, JobSpec, Step, search};
use tapewright_abi::value::LogLevel;

/// A module in a process of its own. Every session and every decoder gets another one.
#[derive(Debug, Clone)]
pub(crate) struct Module {
    name: String,
    path: PathBuf,
    folders: Vec<PathBuf>,
    apart: Apart,
    families: Vec<FamilyInfo>,
    reads_back: Vec<bool>,
}

impl Module {
    /// Starts a process, has it load the file with the family files of `folders`, and describe it.
    pub(crate) fn describe(
        path: &Path,
        folders: &[PathBuf],
        apart: &Apart,
    ) -> Result<(Module, Vec<HostError>), HostError> {
        let path = path
            .canonicalize()
            .map_err(|error| HostError::Load { path: path.to_owned(), problem: error.to_string() })?;
        let name = path.file_name().and_then(|name| name.to_str()).and_then(search::module_name);
        let name = name.map_or_else(|| path.display().to_string(), str::to_owned);
        let mut process = Process::start(&name, &path, folders, apart)?;
        process.ask(&Request::Describe)?;
        let (families, refused): (Vec<Described>, Vec<HostError>) = match process.answer()? {
            Answer::Families(families, refused) => (families, refused),
            other => {
                let other = other.name();
                return Err(process.out_of_order(other));
            }
        };
        let (families, reads_back) = families.into_iter().unzip();
        let module = Module { name, path, folders: folders.to_vec(), apart: apart.clone(), families, reads_back };
        Ok((module, refused))
    }

    pub(crate) fn name(&self) -> &str {
        &self.name
    }

    pub(crate) fn path(&self) -> &Path {
        &self.path
    }

    pub(crate) fn families(&self) -> &[FamilyInfo] {
        &self.families
    }

    pub(crate) fn reads_back(&self, family: &str) -> bool {
        let at = self.families.iter().position(|info| info.id == family);
        at.is_some_and(|at| self.reads_back[at])
    }

    pub(crate) fn open(
        &self,
        family: &str,
        log: impl FnMut(LogLevel, &str) + Send + 'static,
    ) -> Result<Session, HostError> {
        let (mut process, areas) = Process::start_sharing(&self.name, &self.path, &self.folders, &self.apart)?;
        process.ask(&Request::Open { family })?;
        expect_done(&mut process)?;
        Ok(Session::new(process, areas, Box::new(log)))
    }

    /// How sure the family is that a stream that begins so is its own.
    pub(crate) fn recognises(&self, family: &str, first: &[u8]) -> Result<u8, HostError> {
        let mut process = self.start()?;
        process.ask(&Request::Recognise { family, first })?;
        match process.answer()? {
            Answer::Score(score) => match u8::try_from(score) {
                Ok(score @ ..=100) => Ok(score),
                _ => Err(process.out_of_order("a score beyond 100")),
            },
            other => {
                let other = other.name();
                Err(process.out_of_order(other))
            }
        }
    }

    pub(crate) fn decoder(&self, family: &str) -> Result<Decoder, HostError> {
        let mut process = self.start()?;
        process.ask(&Request::Decode { family })?;
        expect_done(&mut process)?;
        Ok(Decoder::new(process))
    }

    /// What a driver of the family takes that it must refuse.
    pub(crate) fn probe(&self, family: &str, job: &JobSpec, cuts_off: bool) -> Result<Vec<String>, HostError> {
        let mut process = self.start()?;
        let mut step = Batch::new(None);
        step.add(&Step::BeginJob(job));
        process.ask(&Request::Probe { family, cuts_off, job: step.bytes() })?;
        match process.answer()? {
            Answer::Found(found) => Ok(found),
            other => {
                let other = other.name();
                Err(process.out_of_order(other))
            }
        }
    }

    fn start(&self) -> Result<Process, HostError> {
        Process::start(&self.name, &self.path, &self.folders, &self.apart)
    }
}

pub(super) fn expect_done(process: &mut Process) -> Result<(), HostError> {
    match process.answer()? {
        Answer::Done => Ok(()),
        other => {
            let other = other.name();
            Err(process.out_of_order(other))
        }
    }
}
