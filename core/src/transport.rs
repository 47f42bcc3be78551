//! Links: where the bytes of a stream go.

use crate::error::{Error, Kind, Result};
use std::fmt;
use std::io::{self, Write};
use std::path::PathBuf;
use std::time::Duration;

/// An open link. Bytes go out in order; a device may answer.
pub trait Port {
    /// Sends bytes.
    ///
    /// # Errors
    /// Not all of them are certainly on their way. Kind `Device` or `Storage`.
    fn send(&mut self, bytes: &[u8]) -> Result<()>;

    /// Sends nothing for a while; a link without a device behind it need not wait.
    ///
    /// # Errors
    /// The link is gone.
    fn pause(&mut self, time: Duration) -> Result<()> {
        let _ = time;
        Ok(())
    }

    /// Appends up to `count` bytes of what the device says within `time`; nothing where it cannot
    /// answer.
    ///
    /// # Errors
    /// The link is gone.
    fn receive(&mut self, count: usize, time: Duration, reply: &mut Vec<u8>) -> Result<()> {
        let _ = (count, time, reply);
        Ok(())
    }

    /// The status byte of a USB printer; `None` on any other link.
    ///
    /// # Errors
    /// The link is gone.
    fn port_status(&mut self) -> Result<Option<u8>> {
        Ok(None)
    }

    /// The stream ends: returns when what was sent is with the other side, as far as the link can
    /// tell.
    ///
    /// # Errors
    /// As [`Port::send`].
    fn finish(&mut self) -> Result<()>;
}

/// A link that only records: a file, a pipe.
pub struct Recorder<W>(pub W);

/// A link that takes no more: whoever reads has gone, or the disk is full.
fn not_written(error: &io::Error) -> Error {
    let kind = if error.kind() == io::ErrorKind::BrokenPipe { Kind::Device } else { Kind::Storage };
    Error::new(kind, format!("the stream cannot be written: {error}"))
}

impl<W: Write> Port for Recorder<W> {
    fn send(&mut self, bytes: &[u8]) -> Result<()> {
        self.0.write_all(bytes).map_err(|error| not_written(&error))
    }

    fn finish(&mut self) -> Result<()> {
        self.0.flush().map_err(|error| not_written(&error))
    }
}

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
