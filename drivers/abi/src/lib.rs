//! The driver interface of tapewright for Rust.
//!
//! `driver.h` beside this crate is the truth: its comments say who owns each pointer, how long
//! it is valid, and on which thread each function may be called. [`raw`] mirrors it name by
//! name; `drivers/host/tests/c_driver.rs` compares sizes and offsets with a C compiler. [`value`]
//! holds the few safe types that both sides of the interface use.

mod entry;
pub mod raw;
pub mod value;

pub use entry::LinkedEntry;
