//! Which printer is meant.

use crate::error::{Error, Result};
use std::fmt;

/// Which printer is meant.
///
/// ```
/// use tapewright_usb::Selector;
///
/// assert_eq!(Selector::parse("usb:")?, Selector::Only);
/// assert_eq!(Selector::parse("usb:1209:0001")?, Selector::Model { vendor: 0x1209, product: 1 });
/// assert_eq!(Selector::parse("usb:1-1.4")?, Selector::Port("1-1.4".into()));
/// # Ok::<(), tapewright_usb::Error>(())
/// ```
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Selector {
    /// The only printer there is: `usb:`.
    Only,
    /// The only one of a model: `usb:VID:PID`, four hex digits each.
    Model {
        /// Vendor id.
        vendor: u16,
        /// Product id.
        product: u16,
    },
    /// One printer, wherever it is plugged in: `usb:VID:PID:SERIAL`. The serial number may hold
    /// colons; case counts.
    Serial {
        /// Vendor id.
        vendor: u16,
        /// Product id.
        product: u16,
        /// Serial number, not empty.
        serial: String,
    },
    /// The printer on a socket: `usb:BUS-PORT`, `usb:BUS-PORT.PORT` and so on through the hubs,
    /// decimal, as Linux names the device. Unlike an address, it stays when a printer is switched
    /// off and on, and it tells apart two printers without serial numbers.
    Port(String),
}

impl Selector {
    /// Reads a selector.
    ///
    /// # Errors
    /// [`Error::Selector`]: none of the forms above.
    pub fn parse(text: &str) -> Result<Self> {
        let wrong = |why: &str| Error::Selector { found: text.to_owned(), why: why.to_owned() };
        let rest = text.strip_prefix("usb:").ok_or_else(|| wrong("which does not begin with usb:"))?;
        if rest.is_empty() {
            return Ok(Self::Only);
        }
        let Some((vendor, rest)) = rest.split_once(':') else {
            return port(rest).map(Self::Port).ok_or_else(|| wrong("which names no product and is no socket"));
        };
        let (product, serial) = rest.split_once(':').map_or((rest, None), |(product, serial)| (product, Some(serial)));
        let vendor = id(vendor).ok_or_else(|| wrong("whose vendor id is not four hex digits"))?;
        let product = id(product).ok_or_else(|| wrong("whose product id is not four hex digits"))?;
        match serial.map(str::trim) {
            None => Ok(Self::Model { vendor, product }),
            Some("") => Err(wrong("whose serial number is empty")),
            Some(serial) => Ok(Self::Serial { vendor, product, serial: serial.to_owned() }),
        }
    }
}

impl fmt::Display for Selector {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Only => f.write_str("usb:"),
            Self::Model { vendor, product } => write!(f, "usb:{vendor:04x}:{product:04x}"),
            Self::Serial { vendor, product, serial } => write!(f, "usb:{vendor:04x}:{product:04x}:{serial}"),
            Self::Port(port) => write!(f, "usb:{port}"),
        }
    }
}

fn id(text: &str) -> Option<u16> {
    let four = text.len() == 4 && text.bytes().all(|byte| byte.is_ascii_hexdigit());
    if four { u16::from_str_radix(text, 16).ok() } else { None }
}

/// A socket with its numbers in their shortest form.
fn port(text: &str) -> Option<String> {
    let number = |text: &str| {
        let digits = !text.is_empty() && text.bytes().all(|byte| byte.is_ascii_digit());
        if digits { text.parse::<u8>().ok() } else { None }
    };
    let (bus, ports) = text.split_once('-')?;
    let ports: Option<Vec<String>> = ports.split('.').map(|port| Some(number(port)?.to_string())).collect();
    Some(format!("{}-{}", number(bus)?, ports?.join(".")))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_form_is_read_and_written() {
        for (text, written) in [
            ("usb:", "usb:"),
            ("usb:1209:0001", "usb:1209:0001"),
            ("usb:ABCD:00eF", "usb:abcd:00ef"),
            ("usb:1209:0001:TWP0001", "usb:1209:0001:TWP0001"),
            ("usb:1209:0001:a:B 7", "usb:1209:0001:a:B 7"),
            ("usb:1-1", "usb:1-1"),
            ("usb:001-02.4.1", "usb:1-2.4.1"),
        ] {
            let selector = Selector::parse(text).unwrap_or_else(|error| panic!("{text}: {error}"));
            assert_eq!(selector.to_string(), written);
            assert_eq!(Selector::parse(written), Ok(selector));
        }
    }

    #[test]
    fn anything_else_is_refused_with_the_forms() {
        for (text, why) in [
            ("usb", "does not begin with usb:"),
            ("USB:", "does not begin with usb:"),
            ("usb:1209", "names no product"),
            ("usb:1209:1", "product id is not four"),
            ("usb:0x12:0001", "vendor id is not four"),
            ("usb:+209:0001", "vendor id is not four"),
            ("usb:1209:0001:", "serial number is empty"),
            ("usb:1209:0001: ", "serial number is empty"),
            ("usb:1-", "is no socket"),
            ("usb:1-1.", "is no socket"),
            ("usb:-1", "is no socket"),
            ("usb:1-999", "is no socket"),
            ("usb:1-+1", "is no socket"),
            ("usb: ", "is no socket"),
        ] {
            let found = Selector::parse(text).expect_err(text).to_string();
            assert!(found.contains(&format!("found `{text}`")) && found.contains(why), "{found}");
            assert!(found.contains("wanted usb: for the only one"), "{found}");
        }
    }
}
