//! Families a module learns from files.

use crate::{Capabilities, Description, Driver, Fault, OptionKind, OptionSpec, Readback};

/// How a module learns families from files; for `export_driver!(files: …)`.
///
/// The host finds and reads the files: a module does no input.
#[derive(Debug, Clone, Copy)]
pub struct FamilyFiles {
    /// What the names of the files end in: lower case letters and digits, without the dot.
    pub suffix: &'static str,
    /// Families that are always there: names and texts. At least one, and each must read.
    pub built_in: &'static [(&'static str, &'static str)],
    /// Reads the text of a file; the name is for the log.
    ///
    /// # Errors
    ///
    /// A [`Fault`] with the line, what was found and what was wanted, without the file's name.
    pub read: ReadFamily,
}

/// Makes a family of a file's name and text; see [`FamilyFiles::read`].
pub type ReadFamily = fn(&str, &str) -> Result<Box<dyn LearnedFamily>, Fault>;

/// A family read from a file.
pub trait LearnedFamily: Send + Sync {
    /// What the host shows and checks before any device is asked; the same every time.
    fn description(&self) -> &LearnedDescription;

    /// Makes a driver.
    ///
    /// # Errors
    ///
    /// When there is none on this machine; no device is looked for.
    fn create(&self) -> Result<Box<dyn Driver>, Fault>;

    /// Whether streams of this family can be read back; the same every time.
    fn reads_back(&self) -> bool {
        false
    }

    /// How sure the family is that a stream that begins with these bytes is its own: 0 … 100.
    fn recognises(&self, first: &[u8]) -> u8 {
        let _ = first;
        0
    }

    /// Makes a decoder for one stream; `None` when [`LearnedFamily::reads_back`] says no.
    fn decoder(&self) -> Option<Box<dyn Readback>> {
        None
    }
}

/// A [`Description`] that owns its texts.
#[derive(Debug, Clone, Default)]
pub struct LearnedDescription {
    /// Id: lower case letters, digits and hyphens.
    pub family: String,
    /// As a person calls it.
    pub title: String,
    /// Version of the family's file or of the driver.
    pub version: String,
    /// One sentence.
    pub description: String,
    /// What it can carry.
    pub capabilities: Capabilities,
    /// The settings it takes.
    pub options: Vec<LearnedOption>,
    /// Devices it is for: key and value of an IEEE 1284 device id.
    pub patterns: Vec<(String, String)>,
}

/// An [`OptionSpec`] that owns its texts.
#[derive(Debug, Clone)]
pub struct LearnedOption {
    /// Lower case words with hyphens.
    pub id: String,
    /// What values it takes.
    pub kind: LearnedOptionKind,
    /// The default, written as a value.
    pub default: String,
    /// One sentence.
    pub help: String,
}

/// An [`OptionKind`] that owns its texts.
#[derive(Debug, Clone)]
pub enum LearnedOptionKind {
    /// `true` or `false`.
    Bool,
    /// A decimal number in a range, ends included.
    Int {
        /// The least value.
        min: i64,
        /// The greatest value.
        max: i64,
    },
    /// Any text.
    Text,
    /// One of a list.
    Choice(Vec<String>),
}

impl LearnedDescription {
    /// The same for good: driver.h wants a description valid as long as the process runs. The
    /// memory is never freed, so this is called once for a family, by the kit; and by tests of a
    /// driver that need [`Options`](crate::Options) without a host.
    pub fn leaked(&self) -> Description {
        let options = self.options.iter().map(|option| OptionSpec {
            id: text(&option.id),
            kind: match &option.kind {
                LearnedOptionKind::Bool => OptionKind::Bool,
                LearnedOptionKind::Int { min, max } => OptionKind::Int { min: *min, max: *max },
                LearnedOptionKind::Text => OptionKind::Text,
                LearnedOptionKind::Choice(choices) => {
                    OptionKind::Choice(choices.iter().map(|choice| text(choice)).collect::<Vec<_>>().leak())
                }
            },
            default: text(&option.default),
            help: text(&option.help),
        });
        let patterns = self.patterns.iter().map(|(key, value)| (text(key), text(value)));
        Description {
            family: text(&self.family),
            title: text(&self.title),
            version: text(&self.version),
            description: text(&self.description),
            capabilities: self.capabilities,
            options: options.collect::<Vec<_>>().leak(),
            patterns: patterns.collect::<Vec<_>>().leak(),
        }
    }
}

fn text(text: &str) -> &'static str {
    text.to_owned().leak()
}
