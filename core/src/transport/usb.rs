//! A printer on the USB.

use super::{Delivery, Port, Say, Word};
use crate::error::{Error, Kind, Result};
use std::fmt;
use std::time::Duration;
use tapewright_usb::{Acts, DeviceId, Error as UsbError, Printer, Selector, status};

/// How often a printer without tape is waited for, [`Usb::patience`] each time, before the job is
/// given up: with 30 s, a quarter of an hour, time to fetch a cartridge.
const TURNS: u32 = 30;

/// Most time for the last bytes of a job that is given up.
const GOODBYE: Duration = Duration::from_secs(2);

/// Which printer, as written behind `usb:`.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Place(Selector);

impl Place {
    /// Reads a selector with its `usb:`.
    ///
    /// # Errors
    /// Kind `Input`: it is none.
    pub fn parse(text: &str) -> Result<Self> {
        Selector::parse(text).map(Self).map_err(|error| Error::input(format!("link: {error}")))
    }
}

impl fmt::Display for Place {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        // Any printer is `usb:`, which reads badly in front of another colon.
        f.write_str(self.0.to_string().trim_end_matches(':'))
    }
}

/// A printer that is plugged in.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Attached {
    /// The link to it.
    pub link: String,
    /// Who made it and what it is, as far as it tells.
    pub title: String,
    /// Its IEEE 1284 device id; `None` when it cannot be read.
    pub id: Option<DeviceId>,
    /// Why it cannot be used, and what to do.
    pub trouble: Option<String>,
    /// The rule for Linux that lets people use it.
    pub rule: String,
}

/// The printers plugged in.
///
/// # Errors
/// Kind `Device`: this computer has no USB, or does not let this program see it.
pub fn attached() -> Result<Vec<Attached>> {
    let found = tapewright_usb::list().map_err(|cause| error(&cause))?;
    Ok(found
        .into_iter()
        .map(|printer| {
            let names = [printer.manufacturer.as_deref(), printer.product_name.as_deref()];
            let names: Vec<&str> = names.into_iter().flatten().collect();
            let (id, trouble) = match &printer.device_id {
                Ok(id) => (Some(id.clone()), None),
                Err(cause) => (None, Some(cause.to_string())),
            };
            let (vendor, product) = (printer.vendor, printer.product);
            Attached {
                link: printer.selector().to_string(),
                title: if names.is_empty() { format!("{vendor:04x}:{product:04x}") } else { names.join(" ") },
                id,
                trouble,
                rule: tapewright_usb::udev_rule(vendor, product),
            }
        })
        .collect())
}

impl Attached {
    /// Whether its device id has `value` under `key`, as one of several with commas between.
    pub fn says(&self, key: &str, value: &str) -> bool {
        let Some(id) = &self.id else { return false };
        let values = if key == "CMD" { id.commands() } else { id.get(key).into_iter().collect() };
        values.iter().any(|found| found.eq_ignore_ascii_case(value))
    }
}

/// An open printer.
pub(super) struct Usb<'s> {
    printer: Printer,
    patience: Duration,
    say: Say<'s>,
    sent: u64,
    /// The job is given up: nothing is waited for any more.
    abandoned: bool,
}

fn error(cause: &UsbError) -> Error {
    let kind = match cause.acts() {
        Acts::Author => Kind::Input,
        Acts::AtPrinter | Acts::Administrator | Acts::Maker => Kind::Device,
    };
    Error::new(kind, cause.to_string())
}

impl<'s> Usb<'s> {
    pub(super) fn open(place: &Place, patience: Duration, say: Say<'s>) -> Result<Self> {
        let printer = Printer::open(&place.0).map_err(|cause| error(&cause))?;
        Ok(Self { printer, patience, say, sent: 0, abandoned: false })
    }

    fn out_of_tape(&self) -> bool {
        self.printer.port_status().is_ok_and(|byte| byte & status::PAPER_EMPTY != 0)
    }
}

impl Port for Usb<'_> {
    fn delivery(&self) -> Delivery {
        Delivery::AsSent
    }

    /// The printer forgets what it has not printed: half a page would take the next job for the
    /// rest of it.
    fn abandon(&mut self) {
        self.abandoned = true;
        // A printer that has gone, or does not know the request, cannot be helped from here.
        let _ = self.printer.soft_reset();
    }

    /// A printer that is out of tape is waited for; what it has taken is not sent again.
    fn send(&mut self, mut bytes: &[u8]) -> Result<()> {
        let mut turns = 0;
        let patience = if self.abandoned { self.patience.min(GOODBYE) } else { self.patience };
        while let Err(failure) = self.printer.write(bytes, patience) {
            self.sent += failure.sent as u64;
            bytes = &bytes[failure.sent..];
            if failure.sent > 0 {
                turns = 0;
            }
            let empty = !self.abandoned && failure.cause == UsbError::TimedOut && self.out_of_tape();
            if !empty {
                return Err(error(&failure.cause).doing(format!("after {} bytes", self.sent)));
            }
            if turns == TURNS {
                return Err(Error::new(
                    Kind::Supply,
                    format!("the printer is out of tape and was waited for in vain, after {} bytes", self.sent),
                ));
            }
            if turns == 0 {
                (self.say)(Word::Wants("the printer is out of tape: load some, the job goes on from where it is"));
            }
            turns += 1;
        }
        self.sent += bytes.len() as u64;
        Ok(())
    }

    fn pause(&mut self, time: Duration) -> Result<()> {
        std::thread::sleep(time);
        Ok(())
    }

    fn receive(&mut self, count: usize, time: Duration, reply: &mut Vec<u8>) -> Result<()> {
        self.printer.read(count, time, reply).map(|_| ()).map_err(|cause| error(&cause))
    }

    /// A printer that does not know the request has no status to tell; one that has gone is an error.
    fn port_status(&mut self) -> Result<Option<u8>> {
        match self.printer.port_status() {
            Ok(byte) => Ok(Some(byte)),
            Err(cause @ UsbError::Unplugged) => Err(error(&cause)),
            Err(_) => Ok(None),
        }
    }

    fn finish(&mut self) -> Result<()> {
        Ok(())
    }
}
