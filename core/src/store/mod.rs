//! The doors to files: cable lists, and what is kept between runs.

pub mod table;
