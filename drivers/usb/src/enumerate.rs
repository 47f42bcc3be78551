//! The printers of this computer.

use crate::device_id::DeviceId;
use crate::error::{Error, Result};
use crate::libusb::{Claimed, control};
use crate::printer::{Layout, Printer, Protocol, device_id};
use crate::selector::Selector;
use crate::udev::udev_rule;
use rusb::{Context, Device, DeviceHandle, Direction, InterfaceDescriptor, TransferType, UsbContext};
use std::fmt;
use std::time::Duration;

/// Time for each question to a printer that is only listed.
const LISTING_TIME: Duration = Duration::from_secs(1);

/// Interface class and subclass of printers.
const PRINTER: (u8, u8) = (7, 1);

/// A printer that was found.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Found {
    /// Number of the bus.
    pub bus: u8,
    /// Address on the bus, new each time it is plugged in.
    pub address: u8,
    /// The socket, as in [`Selector::Port`]; `None` where the system does not tell.
    pub port: Option<String>,
    /// Vendor id.
    pub vendor: u16,
    /// Product id.
    pub product: u16,
    /// Its manufacturer's name, if it has one and may be opened.
    pub manufacturer: Option<String>,
    /// Its product name, likewise.
    pub product_name: Option<String>,
    /// Its serial number, likewise.
    pub serial: Option<String>,
    /// Where in the device the printer is.
    pub layout: Layout,
    /// Its device id, or why it cannot be read.
    pub device_id: Result<DeviceId>,
}

impl Found {
    /// The selector that tells it from all others: by its serial number, else by its socket.
    #[must_use]
    pub fn selector(&self) -> Selector {
        let (vendor, product) = (self.vendor, self.product);
        match (&self.serial, &self.port) {
            (Some(serial), _) => Selector::Serial { vendor, product, serial: serial.clone() },
            (None, Some(port)) => Selector::Port(port.clone()),
            (None, None) => Selector::Model { vendor, product },
        }
    }

    fn fits(&self, selector: &Selector) -> bool {
        match selector {
            Selector::Only => true,
            Selector::Model { vendor, product } => (self.vendor, self.product) == (*vendor, *product),
            Selector::Serial { vendor, product, serial } => {
                (self.vendor, self.product) == (*vendor, *product) && self.serial.as_ref() == Some(serial)
            }
            Selector::Port(port) => self.port.as_ref() == Some(port),
        }
    }

    fn forbidden(&self) -> bool {
        matches!(self.device_id, Err(Error::NoPermission { .. }))
    }
}

impl fmt::Display for Found {
    /// Its selector, its socket, and its names if they are known.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let selector = self.selector();
        write!(f, "{selector}")?;
        if let (Some(port), false) = (&self.port, matches!(selector, Selector::Port(_))) {
            write!(f, " on usb:{port}")?;
        }
        let names: Vec<&str> =
            [&self.manufacturer, &self.product_name].into_iter().flatten().map(String::as_str).collect();
        if names.is_empty() { Ok(()) } else { write!(f, " ({})", names.join(", ")) }
    }
}

/// All printers of the class, in the order of bus and socket; one that may not be opened is listed
/// without its names. A device counts once: its first printer interface, bidirectional if it can be.
/// Interfaces with packet protocols (7/1/3 and above) are passed over.
///
/// # Errors
/// [`Error::NoUsb`]: this computer has no USB, or the program cannot see it. [`Error::System`].
pub fn list() -> Result<Vec<Found>> {
    Ok(scan()?.into_iter().map(|seen| seen.found).collect())
}

impl Printer<Claimed> {
    /// Opens the printer that is meant, and claims it: from a driver of the kernel, which gets it
    /// back when the value is dropped, but from no other program.
    ///
    /// # Errors
    /// [`Error::NoUsb`], [`Error::NotFound`], [`Error::Several`], [`Error::NoPermission`],
    /// [`Error::Busy`], [`Error::Unplugged`] when it went away meanwhile, [`Error::System`].
    pub fn open(selector: &Selector) -> Result<Self> {
        let seen = scan()?;
        let names = |fit: &dyn Fn(&Found) -> bool| {
            seen.iter().filter(|seen| fit(&seen.found)).map(|seen| seen.found.to_string()).collect::<Vec<_>>()
        };
        let mut fitting = seen.iter().filter(|seen| seen.found.fits(selector));
        let wanted = selector.to_string();
        let chosen = match (fitting.next(), fitting.next()) {
            (Some(one), None) => one,
            (Some(_), Some(_)) => return Err(Error::Several { wanted, found: names(&|found| found.fits(selector)) }),
            (None, _) => {
                // It may be the one whose serial number may not be read.
                let hidden = seen.iter().find(|seen| match selector {
                    Selector::Serial { vendor, product, .. } => {
                        seen.found.forbidden() && (seen.found.vendor, seen.found.product) == (*vendor, *product)
                    }
                    _ => false,
                });
                return Err(match hidden {
                    Some(seen) => refused(rusb::Error::Access, &seen.found),
                    None => Error::NotFound { wanted, found: names(&|_| true) },
                });
            }
        };
        let refused = |error| refused(error, &chosen.found);
        let handle = chosen.device.open().map_err(refused)?;
        let wire = Claimed::claim(handle, &chosen.found.layout, chosen.settings).map_err(refused)?;
        Ok(Self::over(wire, chosen.found.layout))
    }
}

/// A device with a printer in it.
struct Seen {
    device: Device<Context>,
    found: Found,
    /// Alternate settings of the printer's interface.
    settings: usize,
}

fn scan() -> Result<Vec<Seen>> {
    let no_usb = |error| Error::NoUsb {
        why: match error {
            // What libusb 1.0.27 gives where there is no /dev/bus/usb.
            rusb::Error::Other => "no bus can be seen; a container must be given /dev/bus/usb".into(),
            other => other.to_string().to_lowercase(),
        },
    };
    let context = Context::new().map_err(no_usb)?;
    let devices = context.devices().map_err(no_usb)?;
    let mut seen: Vec<Seen> = devices.iter().filter_map(|device| look(&device)).collect();
    seen.sort_by_key(|seen| {
        let ports = seen.device.port_numbers().unwrap_or_default();
        (seen.found.bus, ports, seen.found.address)
    });
    Ok(seen)
}

/// The printer in a device, if there is one.
fn look(device: &Device<Context>) -> Option<Seen> {
    let descriptor = device.device_descriptor().ok()?;
    // The active configuration; a device that is not configured has its first one looked at.
    let active = device.active_config_descriptor().ok();
    let first = || device.config_descriptor(0).ok();
    let configuration = active.or_else(first)?;
    // GET_DEVICE_ID counts configurations from 0 in the order of their descriptors.
    let index = (0..descriptor.num_configurations())
        .find(|index| device.config_descriptor(*index).is_ok_and(|found| found.number() == configuration.number()));
    let mut printers = configuration.interfaces().filter_map(|interface| {
        let settings = interface.descriptors().count();
        let layouts = interface.descriptors().filter_map(|setting| layout(index.unwrap_or(0), &setting));
        // Of equals the first, which is the one the device starts in.
        layouts
            .reduce(|best, next| if next.protocol > best.protocol { next } else { best })
            .map(|best| (best, settings))
    });
    let (layout, settings) = printers.next()?;

    let port = device.port_numbers().ok().filter(|ports| !ports.is_empty()).map(|ports| {
        let ports: Vec<String> = ports.iter().map(u8::to_string).collect();
        format!("{}-{}", device.bus_number(), ports.join("."))
    });
    let mut found = Found {
        bus: device.bus_number(),
        address: device.address(),
        port,
        vendor: descriptor.vendor_id(),
        product: descriptor.product_id(),
        manufacturer: None,
        product_name: None,
        serial: None,
        layout,
        device_id: Err(Error::Unplugged),
    };
    match device.open() {
        Ok(handle) => {
            found.manufacturer = name(handle.read_manufacturer_string_ascii(&descriptor));
            found.product_name = name(handle.read_product_string_ascii(&descriptor));
            found.serial = name(handle.read_serial_number_string_ascii(&descriptor));
            found.device_id = ask(&handle, &layout);
        }
        Err(error) => found.device_id = Err(refused(error, &found)),
    }
    Some(Seen { device: device.clone(), found, settings })
}

/// The printer in one setting of an interface, if it is one and has the endpoints.
fn layout(configuration: u8, setting: &InterfaceDescriptor<'_>) -> Option<Layout> {
    if (setting.class_code(), setting.sub_class_code()) != PRINTER {
        return None;
    }
    let protocol = match setting.protocol_code() {
        1 => Protocol::Unidirectional,
        2 => Protocol::Bidirectional,
        _ => return None,
    };
    let bulk = |direction| {
        let mut all = setting.endpoint_descriptors();
        all.find(|endpoint| endpoint.transfer_type() == TransferType::Bulk && endpoint.direction() == direction)
    };
    let input = bulk(Direction::In).filter(|_| protocol == Protocol::Bidirectional);
    Some(Layout {
        configuration,
        interface: setting.interface_number(),
        setting: setting.setting_number(),
        protocol,
        output: bulk(Direction::Out)?.address(),
        input: input.map(|endpoint| (endpoint.address(), endpoint.max_packet_size())),
    })
}

/// A name that can be shown; an empty one is none.
fn name(read: rusb::Result<String>) -> Option<String> {
    let text = read.ok()?.replace(char::is_control, " ").trim().to_owned();
    if text.is_empty() { None } else { Some(text) }
}

/// The device id without a claim: Linux lets anyone who may open the device ask for it, whoever has
/// the printer (seen with Linux 6.1, while the kernel's driver had it).
fn ask(handle: &DeviceHandle<Context>, layout: &Layout) -> Result<DeviceId> {
    device_id(layout, |request, value, index, data| control(handle, 0xa1, request, value, index, data, LISTING_TIME))
}

/// Why a printer could not be opened or claimed.
fn refused(error: rusb::Error, found: &Found) -> Error {
    let printer = found.to_string();
    match error {
        rusb::Error::Access => Error::NoPermission { printer, rule: udev_rule(found.vendor, found.product) },
        rusb::Error::Busy => Error::Busy { printer },
        rusb::Error::NoDevice | rusb::Error::NotFound => Error::Unplugged,
        other => Error::System { what: format!("{printer}: {}", other.to_string().to_lowercase()) },
    }
}
