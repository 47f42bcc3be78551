//! tapewright: cable labels from a list of cables to printed strips.
//!
//! The modules stand in floors; a module imports only from floors below its own
//! (a test reads every `use` and holds them to it).
#![forbid(unsafe_code)]

pub mod bitmap;
pub mod cable;
pub mod error;
pub mod font;
pub mod layout;
pub mod media;
pub mod raster;
pub mod strip;
pub mod store;
pub mod unit;
