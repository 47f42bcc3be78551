//! What the tests of the driver modules share.
//!
//! A module's tests link it and reach it through the host. A [`Family`] writes jobs made of
//! [`Piece`]s and reads streams; golden [`cases()`], round trips, damage and the validator are
//! methods and functions that each module's tests call. What a stream says is the module's own:
//! it gives the text of a golden case, and what a damaged stream may still hold.
//!
//! Everything here fails by a panic that says what was found, as a test should. This crate knows no
//! module by name.

#![forbid(unsafe_code)]

mod cases;
mod damage;
mod family;
mod found;
mod golden;
mod outside;
mod piece;
mod printed;
mod random;
mod round_trip;
pub mod speed;

pub use cases::{Case, cases, hex};
pub use damage::{Flips, refused};
pub use family::Family;
pub use found::Found;
pub use golden::{Golden, case_folder, golden};
pub use outside::{Script, empty_folder, write_pbm};
pub use piece::{Piece, last_byte_dots};
pub use printed::{Printed, Sent};
pub use random::Random;
