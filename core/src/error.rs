//! The one error of the program: a kind that says who must act, and a chain of what was being done.

use std::fmt;

/// Who must act on an error. The kind decides the exit code and whether trying again is safe.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Kind {
    /// The author of a file or a command line.
    Input,
    /// The person at the device: tape out, wrong stock loaded.
    Supply,
    /// The link or the hardware.
    Device,
    /// A driver module failed or broke its contract.
    Driver,
    /// Reading or writing files.
    Storage,
    /// A stated limit was reached.
    Limit,
    /// Us: this must not happen.
    Bug,
}

impl Kind {
    /// The exit code of a program that ends with this kind (`--help` lists them).
    pub const fn exit_code(self) -> u8 {
        match self {
            Self::Bug => 1,
            Self::Input => 2,
            Self::Supply => 3,
            Self::Device => 4,
            Self::Driver => 5,
            Self::Storage => 6,
            Self::Limit => 7,
        }
    }
}

/// An error with its kind, its text, and what was being done when it happened.
///
/// The text is lower case without a full stop: what was found, what was wanted, a hint.
#[derive(Debug)]
pub struct Error {
    kind: Kind,
    text: String,
    doing: Vec<String>,
}

/// Shorthand for results with [`Error`].
pub type Result<T> = std::result::Result<T, Error>;

impl Error {
    /// A new error.
    pub fn new(kind: Kind, text: impl Into<String>) -> Self {
        Self { kind, text: text.into(), doing: Vec::new() }
    }

    /// The author of the input must act.
    pub fn input(text: impl Into<String>) -> Self {
        Self::new(Kind::Input, text)
    }

    /// A stated limit was reached.
    pub fn limit(text: impl Into<String>) -> Self {
        Self::new(Kind::Limit, text)
    }

    /// A driver module failed or broke its contract.
    pub fn driver(text: impl Into<String>) -> Self {
        Self::new(Kind::Driver, text)
    }

    /// Our own fault.
    pub fn bug(text: impl Into<String>) -> Self {
        Self::new(Kind::Bug, text)
    }

    /// Reading or writing failed.
    pub fn storage(text: impl Into<String>) -> Self {
        Self::new(Kind::Storage, text)
    }

    /// A mistake in a TOML text: its line, what is wrong, and the line itself.
    pub fn toml(text: &str, error: &toml::de::Error) -> Self {
        let message = error.message().replace('\n', "; ");
        let Some(span) = error.span() else { return Self::input(message) };
        let before = text.get(..span.start).unwrap_or(text);
        let line = before.matches('\n').count();
        let source = text.lines().nth(line).unwrap_or_default().trim();
        let source: String = source.chars().take(60).collect();
        Self::input(format!("line {}, `{source}`: {message}", line + 1))
    }

    /// Who must act.
    pub const fn kind(&self) -> Kind {
        self.kind
    }

    /// The text without the chain.
    pub fn text(&self) -> &str {
        &self.text
    }

    /// What was being done, innermost first.
    pub fn context(&self) -> &[String] {
        &self.doing
    }

    /// The same error, for another one to act on.
    #[must_use]
    pub fn as_kind(mut self, kind: Kind) -> Self {
        self.kind = kind;
        self
    }

    /// Adds what was being done, outermost last: a path, a job, a cable.
    #[must_use]
    pub fn doing(mut self, what: impl Into<String>) -> Self {
        self.doing.push(what.into());
        self
    }
}

impl fmt::Display for Error {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for what in self.doing.iter().rev() {
            write!(f, "{what}: ")?;
        }
        f.write_str(&self.text)
    }
}

impl std::error::Error for Error {}

/// Adds context to a result on its way up.
pub trait Doing<T> {
    /// Names what was being done when the error happened.
    ///
    /// # Errors
    /// The same error, with one more link in its chain.
    fn doing(self, what: impl FnOnce() -> String) -> Result<T>;
}

impl<T> Doing<T> for Result<T> {
    fn doing(self, what: impl FnOnce() -> String) -> Self {
        self.map_err(|error| error.doing(what()))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_toml_mistake_shows_its_line() {
        let text = "a = 1\nb = = 2\n";
        let found = Error::toml(text, &text.parse::<toml::Table>().unwrap_err()).to_string();
        assert!(found.starts_with("line 2, `b = = 2`: "), "{found}");
    }

    #[test]
    fn the_chain_reads_from_the_outside_in() {
        let error: Result<()> = Err(Error::input("found `x`, wanted a number"));
        let error = error.doing(|| "row 7".into()).doing(|| "cables.csv".into()).unwrap_err();
        assert_eq!(error.to_string(), "cables.csv: row 7: found `x`, wanted a number");
        assert_eq!(error.kind().exit_code(), 2);
    }
}
