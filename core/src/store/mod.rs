//! The doors to files: cable lists, settings, and what is written.

pub mod files;
pub mod table;
