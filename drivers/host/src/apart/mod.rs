//! A module in a process of its own.
//!
//! The program starts itself again for each module, as told by [`Apart`], and speaks with that
//! process over its standard input and output. Head lines and stream go through memory that both see
//! ([`area`]), where there is such, and while the two take turns they stand on one processor
//! ([`place`]). A module that crashes, hangs or scribbles over memory takes its own process down and
//! nothing else; the program sees [`HostError::Died`].
//!
//! [`HostError::Died`]: crate::HostError::Died

mod area;
mod decoder;
mod frame;
mod message;
mod module;
mod place;
mod process;
mod serve;
mod session;
mod steps;
mod watch;
mod wire;

pub(crate) use decoder::Decoder;
pub(crate) use module::Module;
pub use serve::serve;
pub(crate) use session::Session;

use std::ffi::OsString;
use std::path::PathBuf;
use std::time::Duration;

/// How a process for a module is started and how long it may take.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Apart {
    /// The program. It must call [`serve`] with its standard input and output.
    pub program: PathBuf,
    /// Its arguments; the path of the module comes after them, then the folders of its family files.
    pub arguments: Vec<OsString>,
    /// Most time between two signs of life while the program waits for the module.
    pub patience: Duration,
}
