//! A module that is part of this program.

use crate::raw::tw_entry;

/// The entry of a driver module that is linked into this program instead of loaded.
///
/// Tests and Miri open drivers this way. The value can only be made by who vouches for the
/// module: the driver kit does it for every module built with it.
#[derive(Debug, Clone, Copy)]
pub struct LinkedEntry(&'static tw_entry);

impl LinkedEntry {
    /// Wraps an entry.
    ///
    /// # Safety
    ///
    /// Everything reachable from `entry` keeps the promises of `driver.h`: pointers are valid as
    /// long as their comments say, and functions may be called as their tags say.
    pub const unsafe fn new(entry: &'static tw_entry) -> LinkedEntry {
        LinkedEntry(entry)
    }

    /// The wrapped entry.
    pub const fn entry(self) -> &'static tw_entry {
        self.0
    }
}
