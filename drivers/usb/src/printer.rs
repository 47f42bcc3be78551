//! What is said to a printer, whatever the wire.

use crate::clock::Until;
use crate::device_id::DeviceId;
use crate::error::{Error, Result, WriteFailure};
use crate::libusb::Claimed;
use crate::wire::{CHUNK, Data, Stop, Wire};
use std::time::Duration;

/// The bits of the port status (USB Printer Class 1.1, 4.2.2). A printer in order has 0x18.
pub mod status {
    /// The tape is out.
    pub const PAPER_EMPTY: u8 = 0x20;
    /// The printer is selected: on line.
    pub const SELECTED: u8 = 0x10;
    /// There is *no* error.
    pub const NOT_ERROR: u8 = 0x08;
}

/// Time for a request other than data: what the kernel's own printer driver gives (Linux,
/// `USB_CTRL_GET_TIMEOUT`, from memory).
const REQUEST_TIME: Duration = Duration::from_secs(5);

/// Halts ended in a row without one byte taken between them.
const HALTS: u32 = 3;

/// Pause after a transfer that moved nothing and gave no reason.
const IDLE: Duration = Duration::from_millis(5);

/// How often a printer with garbled bytes is asked whether it is still there, and the pause between:
/// a second in all, for a hub takes up to 255 ms to report a change (USB 2.0, 11.12.1, from memory).
const ASKED: u32 = 20;
const ASKED_AGAIN: Duration = Duration::from_millis(50);

/// The most a device id may be; what is beyond is not read. The kernel's own printer driver reads
/// as much (Linux, `USBLP_DEVICE_ID_SIZE`, from memory).
const DEVICE_ID: usize = 1024;

const GET_DEVICE_ID: u8 = 0;
const GET_PORT_STATUS: u8 = 1;
const SOFT_RESET: u8 = 2;
/// Class request to an interface, from and to the device.
const FROM_INTERFACE: u8 = 0xa1;
const TO_INTERFACE: u8 = 0x21;
/// The same to "other", which version 1.0 of the class asked of SOFT_RESET.
const TO_OTHER: u8 = 0x23;

/// How a printer's interface talks.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Protocol {
    /// 7/1/1: bytes go to the printer only.
    Unidirectional,
    /// 7/1/2: the printer answers.
    Bidirectional,
}

/// Where in a device the printer is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Layout {
    /// Index of the configuration, from 0.
    pub configuration: u8,
    /// Number of the interface.
    pub interface: u8,
    /// Number of its alternate setting.
    pub setting: u8,
    /// How it talks.
    pub protocol: Protocol,
    /// Address of the bulk endpoint to the printer.
    pub output: u8,
    /// Address and packet size in bytes of the bulk endpoint from it; `None` when it has none, or
    /// is unidirectional.
    pub input: Option<(u8, u16)>,
}

/// A printer that is ours until the value is dropped.
///
/// [`Printer::open`] makes one over libusb; [`Printer::over`] takes any other [`Wire`].
#[derive(Debug)]
pub struct Printer<W: Wire = Claimed> {
    wire: W,
    layout: Layout,
    /// Bytes received and not yet asked for: transfers are whole packets.
    unread: Vec<u8>,
}

impl<W: Wire> Printer<W> {
    /// A printer at the end of a wire.
    pub const fn over(wire: W, layout: Layout) -> Self {
        Self { wire, layout, unread: Vec::new() }
    }

    /// Where in the device it is.
    pub const fn layout(&self) -> &Layout {
        &self.layout
    }

    /// Sends `bytes`, all of them, within `deadline` for the whole call.
    ///
    /// Short transfers are continued. Halts are ended, three in a row at the most if the printer
    /// takes nothing between them. A printer that pauses, for tape or to cool down, lets the
    /// deadline pass: ask [`Printer::port_status`] and write the rest. Keep pieces small enough,
    /// about 64 KiB, to tell a person in between how far a job is.
    ///
    /// # Errors
    /// How many bytes were certainly taken, with
    /// - [`Error::TimedOut`]: the deadline passed, a deadline of zero at once,
    /// - [`Error::Unplugged`], [`Error::Garbled`],
    /// - [`Error::Stalled`]: the printer halts again and again,
    /// - [`Error::System`].
    pub fn write(&mut self, bytes: &[u8], deadline: Duration) -> std::result::Result<(), WriteFailure> {
        let end = Until::after(deadline);
        let (mut sent, mut halts) = (0, 0);
        while sent < bytes.len() {
            let chunk = &bytes[sent..(sent + CHUNK).min(bytes.len())];
            let (taken, result) = match end.left() {
                Duration::ZERO => (0, Err(Stop::TimedOut)),
                left => self.wire.bulk(self.layout.output, Data::Out(chunk), left),
            };
            let taken = taken.min(chunk.len());
            sent += taken;
            if taken > 0 {
                halts = 0;
            }
            let fail = |cause| Err(WriteFailure { sent, cause });
            match result {
                Ok(()) if taken == 0 => std::thread::sleep(IDLE.min(end.left())),
                Ok(()) => {}
                // The time was over just when the last byte was taken.
                Err(Stop::TimedOut) if sent == bytes.len() => {}
                Err(Stop::Stalled) if halts < HALTS => {
                    halts += 1;
                    if let Err(stop) = self.wire.clear_halt(self.layout.output) {
                        return fail(self.cause(stop));
                    }
                }
                Err(stop) => return fail(self.cause(stop)),
            }
        }
        Ok(())
    }

    /// Waits until the printer has sent `want` bytes or `within` has passed, and appends what there
    /// is to `into`, `want` bytes at the most. Gives their number.
    ///
    /// Fewer than `want` is no error: the time was over, or the printer is unidirectional, in which
    /// case nothing is waited for. What it sent beyond `want` is kept for the next call.
    ///
    /// # Errors
    /// [`Error::Unplugged`], [`Error::Garbled`], [`Error::Stalled`], [`Error::Answer`] when it sent
    /// more than its packets hold, [`Error::System`]; bytes received before are in `into`.
    pub fn read(&mut self, want: usize, within: Duration, into: &mut Vec<u8>) -> Result<usize> {
        let Some((endpoint, packet)) = self.layout.input else { return Ok(0) };
        let result = self.receive(want, within, endpoint, usize::from(packet.max(1)));
        let count = want.min(self.unread.len());
        into.extend(self.unread.drain(..count));
        result.map(|()| count)
    }

    /// Fills `unread` up to `want` bytes or more, as long as there is time.
    fn receive(&mut self, want: usize, within: Duration, endpoint: u8, packet: usize) -> Result<()> {
        let (end, mut halts) = (Until::after(within), 0);
        while self.unread.len() < want {
            let left = end.left();
            if left.is_zero() {
                break;
            }
            // Whole packets: a printer may answer more than is wanted, and a packet for which there
            // is not the room is lost.
            let mut room = vec![0; (want - self.unread.len()).min(CHUNK).next_multiple_of(packet)];
            let (received, result) = self.wire.bulk(endpoint, Data::In(&mut room), left);
            self.unread.extend(&room[..received.min(room.len())]);
            if received > 0 {
                halts = 0;
            }
            match result {
                // Many printers answer a read with an empty packet while they have nothing to say.
                Ok(()) if received == 0 => std::thread::sleep(IDLE.min(end.left())),
                Ok(()) => {}
                Err(Stop::TimedOut) => break,
                Err(Stop::Stalled) if halts < HALTS => {
                    halts += 1;
                    self.wire.clear_halt(endpoint).map_err(|stop| self.cause(stop))?;
                }
                Err(stop) => return Err(self.cause(stop)),
            }
        }
        Ok(())
    }

    /// The port status, a set of the bits in [`status`].
    ///
    /// # Errors
    /// [`Error::Unplugged`], [`Error::TimedOut`], [`Error::Stalled`] when the printer does not know
    /// the request, [`Error::Answer`] when it sends nothing.
    pub fn port_status(&self) -> Result<u8> {
        let mut byte = [0];
        let index = u16::from(self.layout.interface);
        let request = self.wire.control(FROM_INTERFACE, GET_PORT_STATUS, 0, index, &mut byte, REQUEST_TIME);
        match request.map_err(plain)? {
            0 => Err(Error::Answer { what: "port status of 0 bytes, wanted 1".into() }),
            _ => Ok(byte[0]),
        }
    }

    /// The device id.
    ///
    /// # Errors
    /// As for [`Printer::port_status`]; [`Error::Answer`] when it holds no pairs.
    pub fn device_id(&self) -> Result<DeviceId> {
        device_id(&self.layout, |request, value, index, data| {
            self.wire.control(FROM_INTERFACE, request, value, index, data, REQUEST_TIME)
        })
    }

    /// Makes the printer forget what it has received and not printed, and ends its halts. Bytes it
    /// has sent are dropped.
    ///
    /// # Errors
    /// [`Error::Unplugged`], [`Error::TimedOut`], [`Error::Stalled`] when it knows the request
    /// neither in the form of version 1.1 of the class nor in that of 1.0.
    pub fn soft_reset(&mut self) -> Result<()> {
        self.unread.clear();
        let index = u16::from(self.layout.interface);
        let reset = |to| self.wire.control(to, SOFT_RESET, 0, index, &mut [], REQUEST_TIME);
        let done = match reset(TO_INTERFACE) {
            Err(Stop::Stalled) => reset(TO_OTHER),
            other => other,
        };
        done.map(|_| ()).map_err(plain)
    }

    /// The cause behind a stop. A plug pulled out shows as garbled bytes first, before the system
    /// knows that the device is gone (seen with Linux 6.1 and its gadget printer); so the printer is
    /// asked until it answers, or is known to be gone.
    fn cause(&self, stop: Stop) -> Error {
        if stop == Stop::Garbled {
            for _ in 0..ASKED {
                match self.port_status() {
                    Err(Error::Garbled) => std::thread::sleep(ASKED_AGAIN),
                    Err(Error::Unplugged) => return Error::Unplugged,
                    _ => break,
                }
            }
        }
        plain(stop)
    }
}

/// Asks for the device id through `ask(request, value, index, data)`.
pub(crate) fn device_id(
    layout: &Layout,
    ask: impl FnOnce(u8, u16, u16, &mut [u8]) -> std::result::Result<usize, Stop>,
) -> Result<DeviceId> {
    let mut answer = vec![0; DEVICE_ID];
    let index = u16::from(layout.interface) << 8 | u16::from(layout.setting);
    let received = ask(GET_DEVICE_ID, layout.configuration.into(), index, &mut answer).map_err(plain)?;
    DeviceId::parse(&answer[..received.min(DEVICE_ID)])
}

fn plain(stop: Stop) -> Error {
    match stop {
        Stop::TimedOut => Error::TimedOut,
        Stop::Stalled => Error::Stalled,
        Stop::Gone => Error::Unplugged,
        Stop::Garbled => Error::Garbled,
        Stop::TooMuch => Error::Answer { what: "more bytes than its packets may hold, wanted whole packets".into() },
        Stop::Other(what) => Error::System { what },
    }
}
