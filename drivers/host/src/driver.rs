//! Modules and what they do, in this process or in one of their own.

use std::path::{Path, PathBuf};

use tapewright_abi::value::{DeviceStatus, LogLevel};

use crate::{Decoder, Events, Failure, FamilyInfo, HostError, JobSpec, Module, Session, Sink, Step, apart, check};

/// Where modules run.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Place {
    /// In this process: a crash of a module is a crash of the program.
    Here,
    /// Each in a process of its own.
    Apart(apart::Apart),
}

/// A module that was found.
#[derive(Debug, Clone)]
pub struct Driver(Kind);

#[derive(Debug, Clone)]
enum Kind {
    Here(Module),
    Apart(apart::Module),
}

impl From<Module> for Driver {
    fn from(module: Module) -> Driver {
        Driver(Kind::Here(module))
    }
}

impl Driver {
    /// Loads the module in this file, or has it loaded, and hands it the family files of `folders`.
    /// Gives those that cannot be used, too.
    ///
    /// # Errors
    ///
    /// As [`Module::load`]; [`HostError::Died`] when its process did not survive that.
    pub fn load(path: &Path, folders: &[PathBuf], place: &Place) -> Result<(Driver, Vec<HostError>), HostError> {
        Ok(match place {
            Place::Here => {
                let (module, refused) = Module::load_with_files(path, folders)?;
                (Driver(Kind::Here(module)), refused)
            }
            Place::Apart(apart) => {
                let (module, refused) = apart::Module::describe(path, folders, apart)?;
                (Driver(Kind::Apart(module)), refused)
            }
        })
    }

    /// Name of the module: the middle of its file name.
    pub fn name(&self) -> &str {
        match &self.0 {
            Kind::Here(module) => module.name(),
            Kind::Apart(module) => module.name(),
        }
    }

    /// Its file; `None` for a module linked into this program.
    pub fn path(&self) -> Option<&Path> {
        match &self.0 {
            Kind::Here(module) => module.path(),
            Kind::Apart(module) => Some(module.path()),
        }
    }

    /// Its families, in its own order.
    pub fn families(&self) -> &[FamilyInfo] {
        match &self.0 {
            Kind::Here(module) => module.families(),
            Kind::Apart(module) => module.families(),
        }
    }

    /// The family with this id.
    pub fn family(&self, id: &str) -> Option<&FamilyInfo> {
        self.families().iter().find(|family| family.id == id)
    }

    /// Makes an instance; `log` gets what it logs, on the thread that makes the steps.
    ///
    /// # Errors
    ///
    /// As [`Module::open`]; [`HostError::Died`].
    pub fn open(&self, family: &str, log: impl FnMut(LogLevel, &str) + Send + 'static) -> Result<Work, HostError> {
        Ok(Work(match &self.0 {
            Kind::Here(module) => At::Here(Box::new(module.open_with_log(family, log)?)),
            Kind::Apart(module) => At::Apart(Box::new(module.open(family, log)?)),
        }))
    }

    /// How sure a family is, 0 to 100, that a stream that begins with `first` is its own; `None`
    /// when it reads none back.
    ///
    /// # Errors
    ///
    /// As [`Module::readback`]; [`HostError::Died`].
    pub fn recognises(&self, family: &str, first: &[u8]) -> Result<Option<u8>, HostError> {
        match &self.0 {
            Kind::Here(module) => module.readback(family)?.map(|readback| readback.recognises(first)).transpose(),
            Kind::Apart(module) if module.reads_back(family) => module.recognises(family, first).map(Some),
            Kind::Apart(_) => Ok(None),
        }
    }

    /// A decoder of one stream; `None` when the family reads none back.
    ///
    /// # Errors
    ///
    /// As [`Module::readback`]; [`HostError::Died`].
    pub fn decoder(&self, family: &str) -> Result<Option<Decoding>, HostError> {
        Ok(match &self.0 {
            Kind::Here(module) => {
                let readback = module.readback(family)?;
                readback.map(|readback| readback.decoder()).transpose()?.map(|it| Decoding(Reading::Here(it)))
            }
            Kind::Apart(module) if module.reads_back(family) => {
                Some(Decoding(Reading::Apart(Box::new(module.decoder(family)?))))
            }
            Kind::Apart(_) => None,
        })
    }
}

impl Driver {
    /// What a driver takes that it must refuse; see [`crate::check`].
    pub(crate) fn probe(&self, family: &str, job: &JobSpec, cuts_off: bool) -> Result<Vec<String>, HostError> {
        match &self.0 {
            Kind::Here(module) => check::probe(*module, family, job, cuts_off),
            Kind::Apart(module) => module.probe(family, job, cuts_off),
        }
    }
}

/// A driver at work: jobs in, stream out.
#[derive(Debug)]
pub struct Work(At);

#[derive(Debug)]
enum At {
    Here(Box<Session>),
    Apart(Box<apart::Session>),
}

impl Work {
    /// Makes a step, in the order that [`Session`] states. What it puts out goes to `sink` now or
    /// at a later step, at the latest with [`Work::flush`]; so does its failure.
    ///
    /// # Errors
    ///
    /// [`Failure::Host`] as for the functions of [`Session`], and [`HostError::Died`];
    /// [`Failure::Caller`] with the sink's error. After either only [`Step::Cancel`] is left.
    pub fn step<S: Sink + ?Sized>(&mut self, step: &Step<'_>, sink: &mut S) -> Result<(), Failure<S::Error>> {
        match &mut self.0 {
            At::Here(session) => {
                step.make(session)?;
                if step.puts_out() { session.drain(sink) } else { Ok(()) }
            }
            At::Apart(session) => session.step(step, sink),
        }
    }

    /// Sees to it that all steps so far are made and their output is with `sink`.
    ///
    /// # Errors
    ///
    /// As [`Work::step`].
    pub fn flush<S: Sink + ?Sized>(&mut self, sink: &mut S) -> Result<(), Failure<S::Error>> {
        match &mut self.0 {
            At::Here(_) => Ok(()),
            At::Apart(session) => session.flush(sink),
        }
    }

    /// What the device last told about itself.
    ///
    /// # Errors
    ///
    /// As [`Session::status`]; [`HostError::Died`].
    pub fn status(&mut self) -> Result<DeviceStatus, HostError> {
        match &mut self.0 {
            At::Here(session) => session.status(),
            At::Apart(session) => session.status(),
        }
    }

    /// The number of the module's own process, if it has one.
    pub fn process(&self) -> Option<u32> {
        match &self.0 {
            At::Here(_) => None,
            At::Apart(session) => Some(session.id()),
        }
    }
}

/// A decoder at work.
#[derive(Debug)]
pub struct Decoding(Reading);

#[derive(Debug)]
enum Reading {
    Here(Decoder),
    Apart(Box<apart::Decoder>),
}

impl Decoding {
    /// As [`Decoder::push`].
    ///
    /// # Errors
    ///
    /// As [`Decoder::push`]; [`HostError::Died`].
    pub fn push<E: Events + ?Sized>(&mut self, bytes: &[u8], events: &mut E) -> Result<(), Failure<E::Error>> {
        match &mut self.0 {
            Reading::Here(decoder) => decoder.push(bytes, events),
            Reading::Apart(decoder) => decoder.push(bytes, events),
        }
    }

    /// As [`Decoder::finish`].
    ///
    /// # Errors
    ///
    /// As [`Decoder::finish`]; [`HostError::Died`].
    pub fn finish<E: Events + ?Sized>(&mut self, events: &mut E) -> Result<(), Failure<E::Error>> {
        match &mut self.0 {
            Reading::Here(decoder) => decoder.finish(events),
            Reading::Apart(decoder) => decoder.finish(events),
        }
    }
}
