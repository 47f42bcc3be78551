//! The protocol between the kernel and a file system of FUSE (`linux/fuse.h` 7.31).

use super::bus::Bus;
use super::memory::Memory;
use super::native::{Bytes, u32_at, u64_at};
use super::place::{BUS, node_name};
use nix::errno::Errno;
use nix::unistd::Pid;
use std::fs::File;
use std::io::{Read, Write};
use std::sync::{Arc, Mutex, PoisonError};

/// Numbers of the files: the folder `/dev/bus/usb`, the one of the bus, then the printers.
const ROOT: u64 = 1;
const FOLDER: u64 = 2;
const FIRST: u64 = 3;

/// `FUSE_NOTIFY_POLL`.
const NOTIFY_POLL: i32 = 1;
/// `FOPEN_DIRECT_IO`, `FOPEN_NONSEEKABLE`.
const OPENED: u32 = 1 | 4;

/// What the kernel wants, at the least what libusb makes it want.
mod opcode {
    pub(super) const LOOKUP: u32 = 1;
    pub(super) const FORGET: u32 = 2;
    pub(super) const GETATTR: u32 = 3;
    pub(super) const OPEN: u32 = 14;
    pub(super) const READ: u32 = 15;
    pub(super) const STATFS: u32 = 17;
    pub(super) const RELEASE: u32 = 18;
    pub(super) const FLUSH: u32 = 25;
    pub(super) const INIT: u32 = 26;
    pub(super) const OPENDIR: u32 = 27;
    pub(super) const READDIR: u32 = 28;
    pub(super) const RELEASEDIR: u32 = 29;
    pub(super) const ACCESS: u32 = 34;
    pub(super) const INTERRUPT: u32 = 36;
    pub(super) const DESTROY: u32 = 38;
    pub(super) const IOCTL: u32 = 39;
    pub(super) const POLL: u32 = 40;
    pub(super) const BATCH_FORGET: u32 = 42;
}

/// Answers the kernel until the file system is unmounted.
pub(super) fn serve(device: &Arc<File>, bus: &Mutex<Bus>) {
    let mut buffer = vec![0; 1 << 17];
    loop {
        let length = match (&**device).read(&mut buffer) {
            Ok(length) => length,
            // ENOENT: the request was withdrawn before it was read.
            Err(error) => match error.raw_os_error().map(Errno::from_raw) {
                Some(Errno::EINTR | Errno::ENOENT | Errno::EAGAIN) => continue,
                _ => return,
            },
        };
        let message = &buffer[..length];
        let (wanted, unique) = (u32_at(message, 4), u64_at(message, 8));
        if matches!(wanted, opcode::FORGET | opcode::BATCH_FORGET | opcode::INTERRUPT) {
            continue;
        }
        if wanted == opcode::DESTROY {
            return;
        }
        let mut bus = bus.lock().unwrap_or_else(PoisonError::into_inner);
        let (error, body) = match answer(device, &mut bus, wanted, message) {
            Ok(body) => (0, body),
            Err(error) => (-(error as i32), Vec::new()),
        };
        let length = u32::try_from(16 + body.len()).unwrap_or(0);
        let reply = Bytes::default().u32(length).i32(error).u64(unique).bytes(&body);
        // A request that was interrupted has nobody waiting for its answer.
        let _ = (&**device).write(&reply.0);
    }
}

fn answer(device: &Arc<File>, bus: &mut Bus, wanted: u32, message: &[u8]) -> Result<Vec<u8>, Errno> {
    let (node, body) = (u64_at(message, 16), message.get(40..).unwrap_or_default());
    let printer = |node: u64| usize::try_from(node.checked_sub(FIRST).ok_or(Errno::EISDIR)?).map_err(|_| Errno::ENOENT);
    let there = |bus: &Bus, nth: usize| bus.printer(nth).is_some_and(|model| !model.gone());
    Ok(match wanted {
        opcode::INIT => {
            let reply = Bytes::default().u32(7).u32(u32_at(body, 4).min(31)).u32(u32_at(body, 8)).u32(0);
            reply.u16(16).u16(12).u32(1 << 16).u32(1).zeros_to(64).0
        }
        opcode::LOOKUP => {
            let name = body.split(|byte| *byte == 0).next().unwrap_or_default();
            let found = match node {
                ROOT if name == format!("{BUS:03}").as_bytes() => Some(FOLDER),
                FOLDER => (0..bus.count())
                    .find(|nth| there(bus, *nth) && name == node_name(*nth).as_bytes())
                    .map(|nth| FIRST + nth as u64),
                _ => None,
            };
            let found = found.ok_or(Errno::ENOENT)?;
            Bytes::default().u64(found).zeros_to(40).bytes(&attributes(found)).0
        }
        opcode::GETATTR => Bytes::default().zeros_to(16).bytes(&attributes(node)).0,
        opcode::OPEN => Bytes::default().u64(bus.open(printer(node)?)?).u32(OPENED).zeros_to(16).0,
        opcode::OPENDIR => vec![0; 16],
        opcode::READ => {
            let (offset, size) = (u64_at(body, 8), u32_at(body, 16));
            let bytes = bus.printer(printer(node)?).ok_or(Errno::ENODEV)?.sheet().descriptors();
            let from = usize::try_from(offset).unwrap_or(usize::MAX).min(bytes.len());
            let size = usize::try_from(size).unwrap_or(usize::MAX);
            bytes[from..bytes.len().min(from.saturating_add(size))].to_vec()
        }
        opcode::READDIR if u64_at(body, 8) > 0 => Vec::new(),
        opcode::READDIR if node == ROOT => entry(Vec::new(), FOLDER, 1, &format!("{BUS:03}"), 4),
        opcode::READDIR => {
            let shown = (0..bus.count()).filter(|nth| there(bus, *nth));
            shown.fold(Vec::new(), |list, nth| {
                let nth64 = nth as u64;
                entry(list, FIRST + nth64, nth64 + 1, &node_name(nth), 8)
            })
        }
        opcode::STATFS => vec![0; 80],
        opcode::RELEASE => {
            bus.close(u64_at(body, 0));
            Vec::new()
        }
        opcode::FLUSH | opcode::RELEASEDIR | opcode::ACCESS => Vec::new(),
        opcode::IOCTL => {
            let memory = Memory(Pid::from_raw(i32::try_from(u32_at(message, 32)).map_err(|_| Errno::ESRCH)?));
            let given = bus.request(u64_at(body, 0), u32_at(body, 12), u64_at(body, 16), memory);
            let given = given.unwrap_or_else(|error| -(error as i32));
            Bytes::default().i32(given).zeros_to(16).0
        }
        opcode::POLL => {
            let (file, kernel_file, flags) = (u64_at(body, 0), u64_at(body, 8), u32_at(body, 16));
            if flags & 1 != 0 {
                let device = Arc::clone(device);
                let notice = Bytes::default().u32(24).i32(NOTIFY_POLL).u64(0).u64(kernel_file);
                bus.wake_with(
                    file,
                    Box::new(move || {
                        // The file may be closed by now.
                        let _ = (&*device).write(&notice.0);
                    }),
                );
            }
            Bytes::default().u32(bus.poll(file)).zeros_to(8).0
        }
        _ => return Err(Errno::ENOSYS),
    })
}

/// `struct fuse_attr`: a folder, or a file everyone may read and write. Device nodes are files here:
/// FUSE lets no node of its own be a device.
fn attributes(node: u64) -> Vec<u8> {
    let mode = if node >= FIRST { 0o100_666 } else { 0o040_755 };
    Bytes::default().u64(node).zeros_to(60).u32(mode).u32(1).zeros_to(88).0
}

/// `struct fuse_dirent`, padded to 8 bytes.
fn entry(list: Vec<u8>, node: u64, next: u64, name: &str, kind: u32) -> Vec<u8> {
    let length = u32::try_from(name.len()).unwrap_or(0);
    let list = Bytes(list).u64(node).u64(next).u32(length).u32(kind).bytes(name.as_bytes());
    let padded = list.0.len().next_multiple_of(8);
    list.zeros_to(padded).0
}
