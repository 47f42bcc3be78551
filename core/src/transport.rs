//! Links: where the bytes of a stream go. A file and standard output so far.

pub mod ipp;

use crate::error::{Error, Result};
use std::fmt;
use std::path::PathBuf;

/// A place for a stream, as given on the command line.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Link {
    /// A file that appears when it is whole.
    File(PathBuf),
    /// Standard output.
    Stdout,
}

impl Link {
    /// Reads `file:PATH`, `-` or `stdout`.
    ///
    /// # Errors
    /// Kind `Input`: another sort of link.
    pub fn parse(text: &str) -> Result<Self> {
        match text.split_once(':') {
            _ if text == "-" || text == "stdout" => Ok(Self::Stdout),
            Some(("file", path)) if !path.is_empty() => Ok(Self::File(path.into())),
            _ => Err(Error::input(format!("link: found `{text}`, wanted file:PATH or - for standard output"))),
        }
    }

    /// The link for one of several streams: a file gets `name` before its extension.
    #[must_use]
    pub fn numbered(&self, name: &str) -> Self {
        let Self::File(path) = self else { return self.clone() };
        let name: String =
            name.chars().map(|c| if c.is_alphanumeric() || "-_.".contains(c) { c } else { '-' }).collect();
        let stem = path.file_stem().unwrap_or_default().to_string_lossy().into_owned();
        let mut file = format!("{stem}-{name}");
        if let Some(extension) = path.extension() {
            file = format!("{file}.{}", extension.to_string_lossy());
        }
        Self::File(path.with_file_name(file))
    }
}

impl fmt::Display for Link {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::File(path) => write!(f, "file:{}", path.display()),
            Self::Stdout => f.write_str("standard output"),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn links_are_read_and_numbered() {
        assert_eq!(Link::parse("-").unwrap(), Link::Stdout);
        let link = Link::parse("file:out/job.pwg").unwrap();
        assert_eq!(link.numbered("sleeve-1/4"), Link::File("out/job-sleeve-1-4.pwg".into()));
        assert_eq!(link.to_string(), "file:out/job.pwg");
        for wrong in ["job.pwg", "file:", "usb:1"] {
            assert!(Link::parse(wrong).unwrap_err().to_string().contains("wanted file:PATH"));
        }
    }
}
