//! Labels to driver to link, and back: printing streams strip by strip, and reading a stream again.

mod batch;
mod modules;
mod print;
mod readback;

pub use batch::{Batch, Kept, Labels, Rows};
pub use modules::{SERVE, apart, check_module, driver_folders, load_module, module_for, modules, open, takers};
pub use print::{Watch, print};
pub use readback::{Lines, StripRead, read_back, recognise};

/// Rows handed to a driver at a time, in bytes.
const CHUNK: usize = 64 << 10;
