//! A usbfs that is not the kernel's: `/dev/bus/usb` made of FUSE, with the files of `/sys/bus/usb`
//! beside it, in a mount name space of its own.
//!
//! FUSE passes on a request to a device as its number and the address of its argument. What stands
//! at the address, and the buffers it points to, are read and written through
//! `process_vm_readv` and `process_vm_writev`, so a client needs no preloaded library.
//!
//! Sources: `linux/fuse.h` 7.31 and `linux/usbdevice_fs.h` (Linux 6.1, seen) for numbers and
//! layouts; what the requests do: libusb 1.0.27, `linux_usbfs.c` (seen), and the kernel's
//! `devio.c` (from memory). Layouts are those of 64-bit systems.

mod bus;
mod fuse;
mod memory;
mod native;
mod place;

pub use bus::Bus;
pub use place::{enter, start};
