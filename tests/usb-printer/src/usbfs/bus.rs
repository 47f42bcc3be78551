//! The requests of usbfs, and the transfers under way.

use super::memory::Memory;
use super::native::{Bytes, u16_at, u32_at, u64_at};
use crate::fake::Shared;
use crate::model::{End, Model};
use crate::sheet::{INPUT, OUTPUT};
use nix::errno::Errno;
use std::collections::{BTreeMap, VecDeque};
use std::sync::MutexGuard;

/// Request numbers as `linux/ioctl.h` makes them: direction, size, letter `U`, number.
const fn code(direction: u32, number: u32, size: u32) -> u32 {
    direction << 30 | size << 16 | (b'U' as u32) << 8 | number
}
const CONTROL: u32 = code(3, 0, 24);
const SETINTERFACE: u32 = code(2, 4, 8);
const GETDRIVER: u32 = code(1, 8, 260);
const SUBMITURB: u32 = code(2, 10, 56);
const DISCARDURB: u32 = code(0, 11, 0);
const REAPURBNDELAY: u32 = code(1, 13, 8);
const CLAIMINTERFACE: u32 = code(2, 15, 4);
const RELEASEINTERFACE: u32 = code(2, 16, 4);
const IOCTL: u32 = code(3, 18, 16);
const CLEAR_HALT: u32 = code(2, 21, 4);
const DISCONNECT: u32 = code(0, 22, 0);
const CONNECT: u32 = code(0, 23, 0);
const GET_CAPABILITIES: u32 = code(2, 26, 4);
const DISCONNECT_CLAIM: u32 = code(2, 27, 264);
const GET_SPEED: u32 = code(0, 31, 0);

/// Zero packets, no limit to the length of a request, reaping after the device is gone.
const CAPABILITIES: u32 = 0x01 | 0x04 | 0x10;
/// `USBDEVFS_DISCONNECT_CLAIM_IF_DRIVER` and `..._EXCEPT_DRIVER`.
const IF_DRIVER: u32 = 0x01;
const EXCEPT_DRIVER: u32 = 0x02;
const URB_CONTROL: u8 = 2;
const URB_BULK: u8 = 3;
const HIGH_SPEED: i32 = 3;

const POLLOUT: u32 = 0x04;
const POLLERR: u32 = 0x08;
const POLLHUP: u32 = 0x10;

/// A transfer a client has asked for.
struct Urb {
    address: u64,
    kind: u8,
    endpoint: u8,
    buffer: u64,
    length: usize,
    /// What goes to the printer, or came from it.
    data: Vec<u8>,
    moved: usize,
    status: i32,
}

/// Wakes whoever polls a file.
pub(super) type Wake = Box<dyn Fn() + Send>;

/// A device node a client has open.
struct File {
    printer: usize,
    claimed: bool,
    waiting: VecDeque<Urb>,
    done: VecDeque<Urb>,
    wake: Option<Wake>,
}

/// The printers and who has them open.
pub struct Bus {
    printers: Vec<Shared>,
    files: BTreeMap<u64, File>,
    next: u64,
}

impl Bus {
    /// Printers that nobody has open yet.
    #[must_use]
    pub const fn new(printers: Vec<Shared>) -> Self {
        Self { printers, files: BTreeMap::new(), next: 1 }
    }

    pub(super) fn printer(&self, nth: usize) -> Option<MutexGuard<'_, Model>> {
        self.printers.get(nth).map(Shared::model)
    }

    pub(super) fn count(&self) -> usize {
        self.printers.len()
    }

    /// Obeys a line for the first printer, see [`Model::obey`]; `claimed` tells whether a client
    /// has its interface.
    ///
    /// # Errors
    /// The line is no command.
    pub fn obey(&mut self, line: &str) -> Result<String, String> {
        if line.trim() == "claimed" {
            let claimed = self.files.values().any(|file| file.printer == 0 && file.claimed);
            return Ok(if claimed { "yes" } else { "no" }.into());
        }
        let first = self.printers.first().ok_or("found no printer, wanted one")?;
        let answer = first.model().obey(line)?;
        self.pump();
        Ok(answer)
    }

    pub(super) fn open(&mut self, printer: usize) -> Result<u64, Errno> {
        let model = self.printer(printer).ok_or(Errno::ENOENT)?;
        if model.gone() {
            return Err(Errno::ENODEV);
        }
        if model.sheet().forbidden {
            return Err(Errno::EACCES);
        }
        drop(model);
        let (waiting, done) = (VecDeque::new(), VecDeque::new());
        self.files.insert(self.next, File { printer, claimed: false, waiting, done, wake: None });
        self.next += 1;
        Ok(self.next - 1)
    }

    /// A claim ends with its file, but the kernel's driver is not put back.
    pub(super) fn close(&mut self, file: u64) {
        self.files.remove(&file);
    }

    pub(super) fn wake_with(&mut self, file: u64, wake: Wake) {
        if let Some(file) = self.files.get_mut(&file) {
            file.wake = Some(wake);
        }
    }

    pub(super) fn poll(&self, file: u64) -> u32 {
        let Some(file) = self.files.get(&file) else { return POLLERR };
        let ready = if file.done.is_empty() { 0 } else { POLLOUT };
        let gone = self.printers[file.printer].model().gone();
        ready | if gone { POLLHUP | POLLERR } else { 0 }
    }

    /// Moves every transfer on as far as its printer lets it.
    fn pump(&mut self) {
        for file in self.files.values_mut() {
            let mut model = self.printers[file.printer].model();
            let mut waits = Vec::new();
            let mut still = VecDeque::new();
            for mut urb in file.waiting.drain(..) {
                // An endpoint takes one transfer after the other.
                let end = if waits.contains(&urb.endpoint) { End::Waits } else { advance(&mut model, &mut urb) };
                urb.status = match end {
                    End::Waits => {
                        waits.push(urb.endpoint);
                        still.push_back(urb);
                        continue;
                    }
                    End::Done => 0,
                    End::Stalled => -(Errno::EPIPE as i32),
                    End::Garbled => -(Errno::EPROTO as i32),
                    End::Gone => -(Errno::ESHUTDOWN as i32),
                };
                file.done.push_back(urb);
            }
            file.waiting = still;
            if let Some(wake) = file.wake.as_ref().filter(|_| model.gone() || !file.done.is_empty()) {
                wake();
            }
        }
    }

    /// One request; what it gives, or the error.
    pub(super) fn request(&mut self, id: u64, request: u32, argument: u64, memory: Memory) -> Result<i32, Errno> {
        let file = self.files.get(&id).ok_or(Errno::EBADF)?;
        let (printer, claimed) = (file.printer, file.claimed);
        let elsewhere = self.files.iter().any(|(other, file)| *other != id && file.printer == printer && file.claimed);
        let file = self.files.get_mut(&id).ok_or(Errno::EBADF)?;
        let mut model = self.printers[printer].model();
        if model.gone() && request != REAPURBNDELAY && request != DISCARDURB {
            return Err(Errno::ENODEV);
        }
        match request {
            GET_CAPABILITIES => memory.write(argument, &Bytes::default().u32(CAPABILITIES).0)?,
            GET_SPEED => return Ok(HIGH_SPEED),
            GETDRIVER => {
                let name: &[u8] = match (model.driver, claimed || elsewhere) {
                    (true, _) => b"usblp\0",
                    (false, true) => b"usbfs\0",
                    (false, false) => return Err(Errno::ENODATA),
                };
                memory.write(argument + 4, name)?;
            }
            CLAIMINTERFACE => {
                if interface(memory, argument)? != 0 {
                    return Err(Errno::ENOENT);
                }
                if model.driver || elsewhere {
                    return Err(Errno::EBUSY);
                }
                file.claimed = true;
            }
            DISCONNECT_CLAIM => {
                let bytes = memory.read(argument, 264)?;
                let flags = u32_at(&bytes, 4);
                let asked = bytes[8..].split(|byte| *byte == 0).next().unwrap_or_default();
                let bound: Option<&[u8]> = match (model.driver, claimed || elsewhere) {
                    (true, _) => Some(b"usblp"),
                    (false, true) => Some(b"usbfs"),
                    (false, false) => None,
                };
                if let Some(bound) = bound
                    && (flags & IF_DRIVER != 0 && bound != asked || flags & EXCEPT_DRIVER != 0 && bound == asked)
                {
                    return Err(Errno::EBUSY);
                }
                model.driver = false;
                file.claimed = true;
            }
            RELEASEINTERFACE if !claimed => return Err(Errno::EINVAL),
            RELEASEINTERFACE => file.claimed = false,
            SETINTERFACE => {
                let setting = u32_at(&memory.read(argument, 8)?, 4);
                model.set_interface(u8::try_from(setting).map_err(|_| Errno::EINVAL)?);
            }
            IOCTL => {
                let bytes = memory.read(argument, 16)?;
                match u32_at(&bytes, 4) {
                    DISCONNECT if model.driver => model.driver = false,
                    DISCONNECT => return Err(Errno::ENODATA),
                    CONNECT if model.driver || claimed || elsewhere => return Err(Errno::EBUSY),
                    CONNECT => {
                        model.driver = model.sheet().kernel_driver;
                        return Ok(model.driver.into());
                    }
                    _ => return Err(Errno::ENOTTY),
                }
            }
            CLEAR_HALT if !claimed => return Err(Errno::EINVAL),
            CLEAR_HALT => {
                let endpoint = u32_at(&memory.read(argument, 4)?, 0);
                model.clear_halt(u8::try_from(endpoint).map_err(|_| Errno::EINVAL)?);
            }
            CONTROL => {
                let bytes = memory.read(argument, 24)?;
                let setup = setup(&bytes);
                may_ask(setup, claimed, model.driver || elsewhere)?;
                let (length, buffer) = (u16_at(&bytes, 6), u64_at(&bytes, 16));
                let answer = model.control(setup).ok_or(Errno::EPIPE)?;
                memory.write(buffer, &answer)?;
                return Ok(if setup[0] & 0x80 == 0 { length.into() } else { i32::try_from(answer.len()).unwrap_or(0) });
            }
            SUBMITURB => {
                let mut urb = asked(memory, argument)?;
                match urb.kind {
                    URB_CONTROL => {
                        let setup = setup(&urb.data);
                        may_ask(setup, claimed, model.driver || elsewhere)?;
                        match model.control(setup) {
                            Some(answer) if setup[0] & 0x80 != 0 => (urb.moved, urb.data) = (answer.len(), answer),
                            Some(_) => (urb.moved, urb.data) = (urb.length.saturating_sub(8), Vec::new()),
                            None => (urb.status, urb.data) = (-(Errno::EPIPE as i32), Vec::new()),
                        }
                        file.done.push_back(urb);
                        if let Some(wake) = &file.wake {
                            wake();
                        }
                    }
                    // The kernel would claim it now, with a warning in its log.
                    URB_BULK if !claimed => return Err(Errno::EINVAL),
                    URB_BULK if urb.endpoint == OUTPUT || urb.endpoint == INPUT => {
                        file.waiting.push_back(urb);
                        drop(model);
                        self.pump();
                    }
                    URB_BULK => return Err(Errno::ENOENT),
                    _ => return Err(Errno::EINVAL),
                }
            }
            DISCARDURB => {
                let at = file.waiting.iter().position(|urb| urb.address == argument).ok_or(Errno::EINVAL)?;
                let mut urb = file.waiting.remove(at).ok_or(Errno::EINVAL)?;
                urb.status = -(Errno::ENOENT as i32);
                file.done.push_back(urb);
                if let Some(wake) = &file.wake {
                    wake();
                }
            }
            REAPURBNDELAY => {
                let nothing = if model.gone() { Errno::ENODEV } else { Errno::EAGAIN };
                let urb = file.done.pop_front().ok_or(nothing)?;
                if urb.kind == URB_CONTROL {
                    memory.write(urb.buffer + 8, &urb.data)?;
                } else if urb.endpoint == INPUT {
                    memory.write(urb.buffer, &urb.data)?;
                }
                memory.write(urb.address + 4, &Bytes::default().i32(urb.status).0)?;
                memory.write(urb.address + 28, &Bytes::default().i32(i32::try_from(urb.moved).unwrap_or(0)).0)?;
                memory.write(argument, &Bytes::default().u64(urb.address).0)?;
            }
            _ => return Err(Errno::ENOTTY),
        }
        Ok(0)
    }
}

/// The transfer at an address: `struct usbdevfs_urb`.
fn asked(memory: Memory, address: u64) -> Result<Urb, Errno> {
    let bytes = memory.read(address, 56)?;
    let (kind, endpoint) = (bytes[0], bytes[1]);
    let (buffer, length) = (u64_at(&bytes, 16), u32_at(&bytes, 24));
    let length = usize::try_from(length).map_err(|_| Errno::EINVAL)?;
    let to_printer = kind == URB_CONTROL || endpoint == OUTPUT;
    let data = if to_printer { memory.read(buffer, length)? } else { Vec::new() };
    if kind == URB_CONTROL && data.len() < 8 {
        return Err(Errno::EINVAL);
    }
    Ok(Urb { address, kind, endpoint, buffer, length, data, moved: 0, status: 0 })
}

fn advance(model: &mut Model, urb: &mut Urb) -> End {
    if urb.endpoint == OUTPUT {
        let (taken, end) = model.bulk_out(&urb.data[urb.moved..]);
        urb.moved += taken;
        end
    } else {
        let (answer, end) = model.bulk_in(urb.length);
        (urb.moved, urb.data) = (answer.len(), answer);
        end
    }
}

fn interface(memory: Memory, address: u64) -> Result<u32, Errno> {
    Ok(u32_at(&memory.read(address, 4)?, 0))
}

fn setup(bytes: &[u8]) -> [u8; 8] {
    let mut setup = [0; 8];
    let count = bytes.len().min(8);
    setup[..count].copy_from_slice(&bytes[..count]);
    setup
}

/// Requests to an interface are for those who have it, but anyone may ask for the device id.
fn may_ask(setup: [u8; 8], claimed: bool, taken: bool) -> Result<(), Errno> {
    let to_interface = setup[0] & 0x1f == 1;
    let device_id = (setup[0], setup[1]) == (0xa1, 0);
    match (to_interface && !device_id && !claimed, taken) {
        (false, _) => Ok(()),
        (true, true) => Err(Errno::EBUSY),
        (true, false) => Err(Errno::EINVAL),
    }
}
