//! Links: where the bytes of a stream go.

pub mod ipp;
mod queue;
mod tcp;
mod usb;

pub use tcp::RAW_PORT;
pub use usb::{Attached, attached};

use crate::error::{Error, Kind, Result};
use crate::store::files::WholeFile;
use crate::unit::Micrometres;
use std::fmt;
use std::io::{self, Write};
use std::path::PathBuf;
use std::time::Duration;

/// What it means that a link has taken bytes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Delivery {
    /// The device has them.
    AsSent,
    /// They are on their way to a device, which may or may not take them.
    HandedOver,
    /// A queue has them, and may drop them with the job.
    Queue,
    /// They count when all have come.
    WhenWhole,
}

/// An open link. Bytes go out in order; a device may answer.
pub trait Port {
    /// What its [`Port::send`] means.
    fn delivery(&self) -> Delivery;

    /// The stream breaks off here. Makes the device forget what it has not printed, where it can be
    /// told so; what is sent after this is only to make it usable again, and is not waited for.
    fn abandon(&mut self) {}

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

/// A file that appears when the stream is whole.
struct Whole(Option<WholeFile>);

impl Port for Whole {
    fn delivery(&self) -> Delivery {
        Delivery::WhenWhole
    }

    fn send(&mut self, bytes: &[u8]) -> Result<()> {
        let file = self.0.as_mut().ok_or_else(|| Error::bug("bytes after the end of the stream"))?;
        file.write_all(bytes).map_err(|error| not_written(&error))
    }

    fn finish(&mut self) -> Result<()> {
        self.0.take().map_or(Ok(()), WholeFile::finish)
    }
}

/// A link that only records what it is sent.
pub struct Recorder<W>(pub W, pub Delivery);

/// A link that takes no more: whoever reads has gone, or the disk is full.
fn not_written(error: &io::Error) -> Error {
    let kind = if error.kind() == io::ErrorKind::BrokenPipe { Kind::Device } else { Kind::Storage };
    Error::new(kind, format!("the stream cannot be written: {error}"))
}

impl<W: Write> Port for Recorder<W> {
    fn delivery(&self) -> Delivery {
        self.1
    }

    fn send(&mut self, bytes: &[u8]) -> Result<()> {
        self.0.write_all(bytes).map_err(|error| not_written(&error))
    }

    fn finish(&mut self) -> Result<()> {
        self.0.flush().map_err(|error| not_written(&error))
    }
}

/// Something for the person at the printer.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Word<'w> {
    /// To know.
    News(&'w str),
    /// To act on: nothing goes on before.
    Wants(&'w str),
}

/// Tells the person at the printer something.
pub type Say<'s> = &'s (dyn Fn(Word<'_>) + Sync);

/// What a stream is, for links that are told.
#[derive(Clone, Copy, Debug)]
pub struct Shipment<'a> {
    /// Name of the job.
    pub name: &'a str,
    /// Driver family that writes it.
    pub family: &'a str,
    /// Width of the stock.
    pub width: Micrometres,
    /// Its longest strip.
    pub longest: Micrometres,
}

/// A place for a stream, as given on the command line.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Link {
    /// A file that appears when it is whole.
    File(PathBuf),
    /// Standard output.
    Stdout,
    /// A printer on the USB.
    Usb(usb::Place),
    /// A print queue, by its address.
    Queue(String),
    /// The raw port of a printer on the network.
    Tcp {
        /// Name or address.
        host: String,
        /// Mostly [`RAW_PORT`].
        port: u16,
    },
}

impl Link {
    /// Reads `file:PATH`, `tcp:HOST`, `tcp:HOST:PORT`, `usb:` and what may stand behind it,
    /// `ipp://…`, or `-` for standard output. An IPv6 address stands in brackets: `tcp:[::1]:9100`.
    ///
    /// # Errors
    /// Kind `Input`: another sort of link.
    pub fn parse(text: &str) -> Result<Self> {
        let link = match text.split_once(':') {
            _ if text == "-" || text == "stdout" => Some(Self::Stdout),
            Some(("file", path)) if !path.is_empty() => Some(Self::File(path.into())),
            Some(("usb", _)) => Some(Self::Usb(usb::Place::parse(text)?)),
            Some(("ipp" | "ipps" | "http" | "https", _)) => {
                ipp::Address::parse(text)?;
                Some(Self::Queue(text.to_owned()))
            }
            Some(("tcp", place)) => host_and_port(place).map(|(host, port)| Self::Tcp { host, port }),
            _ => None,
        };
        link.ok_or_else(|| {
            Error::input(format!(
                "link: found `{text}`, wanted file:PATH, tcp:HOST:PORT, usb:, ipp://HOST/PATH, or - for standard output"
            ))
        })
    }

    /// Opens it, has `work` send a stream through it, and sees the stream to its end. `patience` is
    /// the most time in which a device must take at least one byte; `say` tells the person at the
    /// printer what it waits for.
    ///
    /// # Errors
    /// What `work` returns; kind `Device`: there is no such device, it does not answer, it gave the
    /// job up; kind `Supply`: it has no tape; kind `Storage`: the file cannot be made.
    pub fn carry(
        &self,
        shipment: &Shipment<'_>,
        patience: Duration,
        say: Say<'_>,
        work: &mut dyn FnMut(&mut dyn Port) -> Result<()>,
    ) -> Result<()> {
        match self {
            Self::File(path) => work(&mut Whole(Some(WholeFile::create(path)?))),
            Self::Stdout => {
                let stdout = io::BufWriter::with_capacity(1 << 16, io::stdout().lock());
                work(&mut Recorder(stdout, Delivery::HandedOver))
            }
            Self::Usb(place) => work(&mut usb::Usb::open(place, patience, say)?),
            Self::Tcp { host, port } => work(&mut tcp::Tcp::connect(host, *port, patience, say)?),
            Self::Queue(uri) => queue::carry(uri, shipment, say, work),
        }
    }

    /// Whether there is a device behind it, which takes one stock at a time.
    pub const fn is_device(&self) -> bool {
        !matches!(self, Self::File(_) | Self::Stdout)
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

fn host_and_port(text: &str) -> Option<(String, u16)> {
    let (host, port) = match text.strip_prefix('[') {
        Some(rest) => {
            let (host, after) = rest.split_once(']')?;
            (host, if after.is_empty() { None } else { Some(after.strip_prefix(':')?) })
        }
        None => text.split_once(':').map_or((text, None), |(host, port)| (host, Some(port))),
    };
    let port = port.map_or(Some(RAW_PORT), |port| port.parse().ok().filter(|&port| port != 0))?;
    (!host.is_empty()).then(|| (host.to_owned(), port))
}

impl fmt::Display for Link {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::File(path) => write!(f, "file:{}", path.display()),
            Self::Stdout => f.write_str("standard output"),
            Self::Usb(place) => place.fmt(f),
            Self::Queue(uri) => f.write_str(uri),
            Self::Tcp { host, port } if host.contains(':') => write!(f, "tcp:[{host}]:{port}"),
            Self::Tcp { host, port } => write!(f, "tcp:{host}:{port}"),
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
        for (text, wanted) in [
            ("tcp:printer", "tcp:printer:9100"),
            ("usb:", "usb"),
            ("ipp://store.local/ipp/print", "ipp://store.local/ipp/print"),
            ("tcp:10.0.0.7:9101", "tcp:10.0.0.7:9101"),
            ("tcp:[fe80::1]", "tcp:[fe80::1]:9100"),
            ("tcp:[::1]:99", "tcp:[::1]:99"),
        ] {
            assert_eq!(Link::parse(text).unwrap().to_string(), wanted);
        }
        for wrong in [
            "job.pwg",
            "file:",
            "usb:1",
            "ftp:printer",
            "tcp:",
            "tcp:host:0",
            "tcp:host:ninety",
            "tcp:[::1",
            "tcp::9100",
        ] {
            assert!(Link::parse(wrong).unwrap_err().to_string().starts_with("link: "), "{wrong}");
        }
    }
}
