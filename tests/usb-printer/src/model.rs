//! The printer: bytes in, answers out, faults at their byte.

use crate::fault::{Fault, Kind};
use crate::sheet::{INPUT, OUTPUT, Sheet};
use std::collections::{BTreeSet, VecDeque};
use std::io::Write;

/// A healthy port status: selected, no error (USB Printer Class 1.1, 4.2.2, from memory).
const HEALTHY: u8 = 0x18;
/// Paper empty, selected, error.
const NO_PAPER: u8 = 0x30;

/// How a bulk transfer stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum End {
    /// It is over, whole or short.
    Done,
    /// The printer takes or has nothing now; the transfer waits.
    Waits,
    /// The endpoint is halted.
    Stalled,
    /// The bytes were garbled.
    Garbled,
    /// The device is gone.
    Gone,
}

/// Told when the plug goes in (`true`) or out.
pub type Plug = Box<dyn FnMut(bool) + Send>;

/// The printer.
pub struct Model {
    sheet: Sheet,
    faults: Vec<Fault>,
    sink: Box<dyn Write + Send>,
    taken: u64,
    answers: VecDeque<u8>,
    halted: BTreeSet<u8>,
    stuck: bool,
    port_status: u8,
    gone: bool,
    waits: bool,
    setting: u8,
    halts_ended: u32,
    resets: u32,
    /// Whether the kernel's driver has the interface.
    pub(crate) driver: bool,
    /// Called when it is plugged in or out.
    pub(crate) plug: Option<Plug>,
}

impl Model {
    /// A printer that writes what it takes to `sink`.
    #[must_use]
    pub fn new(sheet: Sheet, faults: Vec<Fault>, sink: Box<dyn Write + Send>) -> Self {
        Self {
            driver: sheet.kernel_driver,
            sheet,
            faults,
            sink,
            taken: 0,
            answers: VecDeque::new(),
            halted: BTreeSet::new(),
            stuck: false,
            port_status: HEALTHY,
            gone: false,
            waits: false,
            setting: 0,
            halts_ended: 0,
            resets: 0,
            plug: None,
        }
    }

    /// What it says it is.
    #[must_use]
    pub const fn sheet(&self) -> &Sheet {
        &self.sheet
    }

    /// Whether it is unplugged.
    #[must_use]
    pub const fn gone(&self) -> bool {
        self.gone
    }

    /// Offers bytes of one transfer. Gives how many of them the host learns to be taken, and how
    /// the transfer stands; one that waits is offered the rest later.
    ///
    /// # Panics
    /// The sink cannot be written.
    pub fn bulk_out(&mut self, bytes: &[u8]) -> (usize, End) {
        if self.gone {
            return (0, End::Gone);
        }
        if self.halted.contains(&OUTPUT) {
            return (0, End::Stalled);
        }
        if self.waits {
            return (0, End::Waits);
        }
        let after = self.taken + bytes.len() as u64;
        let next = (0..self.faults.len()).filter(|i| self.faults[*i].at < after).min_by_key(|i| self.faults[*i].at);
        let fault = next.map(|i| self.faults.remove(i));
        let room = fault.map_or(bytes.len() as u64, |fault| fault.at.saturating_sub(self.taken));
        let count = usize::try_from(room).unwrap_or(usize::MAX).min(bytes.len());
        self.sink.write_all(&bytes[..count]).expect("the file of printed bytes can be written");
        self.taken += count as u64;
        match fault.map(|fault| fault.kind) {
            None | Some(Kind::Short) => (count, End::Done),
            Some(kind @ (Kind::Stall | Kind::Stuck)) => {
                self.stuck = kind == Kind::Stuck;
                self.halted.insert(OUTPUT);
                (count, End::Stalled)
            }
            Some(Kind::Garble) => (count, End::Garbled),
            Some(Kind::Hang) => {
                self.waits = true;
                (count, End::Waits)
            }
            Some(Kind::Paper) => {
                self.waits = true;
                self.port_status = NO_PAPER;
                (count, End::Waits)
            }
            Some(kind @ (Kind::Unplug | Kind::Vanish | Kind::Rip)) => {
                self.pull(true);
                match kind {
                    Kind::Unplug => (count, End::Gone),
                    Kind::Rip => (count, End::Garbled),
                    _ => (0, End::Gone),
                }
            }
        }
    }

    /// The answer to a read of `room` bytes.
    pub fn bulk_in(&mut self, room: usize) -> (Vec<u8>, End) {
        if self.gone {
            return (Vec::new(), End::Gone);
        }
        if self.halted.contains(&INPUT) {
            return (Vec::new(), End::Stalled);
        }
        let count = room.min(self.answers.len());
        let waits = count == 0 && !self.sheet.empty_packets;
        (self.answers.drain(..count).collect(), if waits { End::Waits } else { End::Done })
    }

    /// Ends a halt, as the host's request CLEAR_FEATURE does.
    pub fn clear_halt(&mut self, endpoint: u8) {
        self.halts_ended += u32::from(self.halted.contains(&endpoint));
        if !(self.stuck && endpoint == OUTPUT) {
            self.halted.remove(&endpoint);
        }
    }

    /// The host chose a setting of the interface.
    pub(crate) const fn set_interface(&mut self, setting: u8) {
        self.setting = setting;
    }

    /// A request to the control endpoint: the bytes it answers, or `None` for a stall.
    ///
    /// `setup` is the setup packet (USB 2.0, 9.3; the class's requests: USB Printer Class 1.1, 4.2;
    /// both from memory).
    pub fn control(&mut self, setup: [u8; 8]) -> Option<Vec<u8>> {
        let [request_type, request, v0, v1, i0, i1, l0, l1] = setup;
        let (value, index) = (u16::from_le_bytes([v0, v1]), u16::from_le_bytes([i0, i1]));
        let length = usize::from(u16::from_le_bytes([l0, l1]));
        let own = u16::from(self.setting);
        let mut answer = match (request_type, request) {
            (0x80, 6) => self.descriptor(v1, v0)?,
            (0x80, 8) => vec![1],
            (0x80 | 0x81, 0) => vec![0, 0],
            (0x00, 9) => Vec::new(),
            (0x01, 11) => {
                self.setting = v0;
                Vec::new()
            }
            (0x02, 1) if value == 0 => {
                self.clear_halt(i0);
                Vec::new()
            }
            // Interface in the high byte, setting in the low one. While the link looks around, the
            // setting it will choose is not chosen yet.
            (0xa1, 0) if value == 0 && (index == own || index == self.sheet.layout().setting.into()) => {
                self.sheet.device_id.clone()
            }
            (0xa1, 1) if value == 0 && index == 0 && length == 1 => vec![self.port_status],
            (0x21, 2) if !self.sheet.old_reset && value == 0 && index == 0 => self.reset(),
            (0x23, 2) if self.sheet.old_reset && value == 0 && index == 0 => self.reset(),
            _ => return None,
        };
        answer.truncate(length);
        Some(answer)
    }

    fn descriptor(&self, kind: u8, nth: u8) -> Option<Vec<u8>> {
        Some(match (kind, nth) {
            (1, 0) => self.sheet.device_descriptor(),
            (2, 0) => self.sheet.configuration(),
            // Languages: English (United States).
            (3, 0) => vec![4, 3, 0x09, 0x04],
            (3, nth) => {
                let text = self.sheet.strings.get(usize::from(nth) - 1)?;
                let units: Vec<u8> = text.encode_utf16().flat_map(u16::to_le_bytes).collect();
                [&[u8::try_from(units.len() + 2).ok()?, 3], units.as_slice()].concat()
            }
            _ => return None,
        })
    }

    fn reset(&mut self) -> Vec<u8> {
        self.answers.clear();
        self.halted.clear();
        self.stuck = false;
        self.waits = false;
        self.resets += 1;
        Vec::new()
    }

    fn pull(&mut self, out: bool) {
        self.gone = out;
        if let Some(plug) = &mut self.plug {
            plug(!out);
        }
    }

    /// Obeys one line of a test:
    ///
    /// - `fault KIND@BYTE` adds a fault,
    /// - `resume` ends a hang and puts tape in,
    /// - `say HEX…` has it send bytes, `halt` halts the endpoint for its answers,
    /// - `unplug`; `plug` (after which bytes count from 0 again, and faults are forgotten),
    /// - `taken` (bytes), `waits` (whether it takes no more), `halts` (ended by the host), `resets`,
    ///   `setting`, `status` and `driver` (`kernel` or `none`) are answered.
    ///
    /// # Errors
    /// The line is none of these.
    pub fn obey(&mut self, line: &str) -> Result<String, String> {
        let (word, rest) = line.trim().split_once(' ').unwrap_or((line.trim(), ""));
        match word {
            "fault" => self.faults.push(rest.parse()?),
            "resume" => {
                self.waits = false;
                self.port_status = HEALTHY;
            }
            "say" => {
                for hex in rest.split_whitespace() {
                    self.answers
                        .push_back(u8::from_str_radix(hex, 16).map_err(|_| format!("found `{hex}`, wanted hex"))?);
                }
            }
            "halt" => {
                self.halted.insert(INPUT);
            }
            "unplug" => self.pull(true),
            "plug" => {
                self.reset();
                self.faults.clear();
                (self.taken, self.halts_ended, self.resets, self.setting) = (0, 0, 0, 0);
                (self.port_status, self.driver) = (HEALTHY, self.sheet.kernel_driver);
                self.pull(false);
            }
            "taken" => return Ok(self.taken.to_string()),
            "waits" => return Ok(if self.waits { "yes" } else { "no" }.into()),
            "halts" => return Ok(self.halts_ended.to_string()),
            "resets" => return Ok(self.resets.to_string()),
            "setting" => return Ok(self.setting.to_string()),
            "status" => return Ok(format!("{:#04x}", self.port_status)),
            "driver" => return Ok(if self.driver { "kernel" } else { "none" }.into()),
            _ => return Err(format!("found `{line}`, wanted a command of the printer")),
        }
        Ok("ok".into())
    }
}
