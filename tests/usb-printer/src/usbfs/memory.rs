//! The memory of the client.

use nix::errno::Errno;
use nix::sys::uio::{RemoteIoVec, process_vm_readv, process_vm_writev};
use nix::unistd::Pid;
use std::io::{IoSlice, IoSliceMut};

/// The memory of the client.
#[derive(Clone, Copy)]
pub(super) struct Memory(pub(super) Pid);

fn remote(address: u64, len: usize) -> Result<RemoteIoVec, Errno> {
    Ok(RemoteIoVec { base: usize::try_from(address).map_err(|_| Errno::EFAULT)?, len })
}

impl Memory {
    /// `length` bytes at an address.
    pub(super) fn read(self, address: u64, length: usize) -> Result<Vec<u8>, Errno> {
        let mut bytes = vec![0; length];
        if length > 0 {
            let from = [remote(address, length)?];
            let read = process_vm_readv(self.0, &mut [IoSliceMut::new(&mut bytes)], &from)?;
            if read != length {
                return Err(Errno::EFAULT);
            }
        }
        Ok(bytes)
    }

    /// Puts bytes at an address.
    pub(super) fn write(self, address: u64, bytes: &[u8]) -> Result<(), Errno> {
        if bytes.is_empty() {
            return Ok(());
        }
        let written = process_vm_writev(self.0, &[IoSlice::new(bytes)], &[remote(address, bytes.len())?])?;
        if written == bytes.len() { Ok(()) } else { Err(Errno::EFAULT) }
    }
}
