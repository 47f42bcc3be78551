//! tapewright: cable labels from a list of cables to printed strips.
//!
//! The modules stand in floors; a module imports only from floors below its own
//! (a test reads every `use` and holds them to it).
#![forbid(unsafe_code)]

// 0
pub mod digest;
pub mod error;
pub mod unit;
// 1
pub mod bitmap;
pub mod cable;
pub mod media;
// 2
pub mod code;
pub mod font;
pub mod journal;
pub mod logo;
pub mod mark;
pub mod pack;
pub mod word;
// 3
pub mod layout;
// 4
pub mod raster;
// 5
pub mod strip;
// 6
pub mod shelf;
// 7
pub mod job;
pub mod proof;
// 8
pub mod register;
pub mod settings;
pub mod store;
pub mod transport;
// 9
pub mod run;
// 10
pub mod cli;
