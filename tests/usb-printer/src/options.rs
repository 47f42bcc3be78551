//! What a test asks of the printer, in words: arguments of `usb-printer`, and of the fake.

use crate::fault::Fault;
use crate::sheet::{Sheet, with_length};
use std::path::PathBuf;

/// What a test asks of the printer.
#[derive(Clone, Debug)]
pub struct Options {
    /// The first printer.
    pub sheet: Sheet,
    /// Its faults.
    pub faults: Vec<Fault>,
    /// How many printers there are; all but the first are plain. None: a computer without USB.
    pub printers: usize,
    /// Where the bytes go that the first takes.
    pub out: Option<PathBuf>,
    /// The program to run, and its arguments.
    pub command: Vec<String>,
}

/// The most printers there can be.
const PRINTERS: usize = 9;

impl Options {
    /// Reads arguments; README.md lists them.
    ///
    /// # Errors
    /// A sentence on what was found and what was wanted.
    pub fn parse<S: Into<String>>(arguments: impl IntoIterator<Item = S>) -> Result<Self, String> {
        let mut arguments = arguments.into_iter().map(Into::into);
        let mut options =
            Self { sheet: Sheet::new(1), faults: Vec::new(), printers: 1, out: None, command: Vec::new() };
        while let Some(name) = arguments.next() {
            let mut value = || arguments.next().ok_or_else(|| format!("found nothing after {name}, wanted a value"));
            match name.as_str() {
                "--out" => options.out = Some(value()?.into()),
                "--fault" => options.faults.push(value()?.parse()?),
                "--id" => options.sheet.device_id = with_length(value()?.as_bytes()),
                "--id-hex" => options.sheet.device_id = hex(&value()?)?,
                "--serial" => options.sheet.strings[2] = value()?,
                "--printers" => {
                    let text = value()?;
                    let count = text.parse().ok().filter(|count| (1..=PRINTERS).contains(count));
                    options.printers = count.ok_or_else(|| format!("found {text} printers, wanted 1 to {PRINTERS}"))?;
                }
                "--no-usb" => options.printers = 0,
                "--unidirectional" => options.sheet.bidirectional = false,
                "--two-settings" => options.sheet.two_settings = true,
                "--old-reset" => options.sheet.old_reset = true,
                "--empty-packets" => options.sheet.empty_packets = true,
                "--forbidden" => options.sheet.forbidden = true,
                "--no-driver" => options.sheet.kernel_driver = false,
                "--" => options.command = arguments.by_ref().collect(),
                _ => return Err(format!("found `{name}`, wanted an option of tests/usb-printer/README.md")),
            }
        }
        Ok(options)
    }
}

fn hex(text: &str) -> Result<Vec<u8>, String> {
    let wrong = || format!("found `{text}`, wanted pairs of hex digits");
    if !text.is_ascii() || !text.len().is_multiple_of(2) {
        return Err(wrong());
    }
    (0..text.len() / 2).map(|i| u8::from_str_radix(&text[2 * i..2 * i + 2], 16).map_err(|_| wrong())).collect()
}
