//! Tests of the module through the host, linked instead of loaded.

mod cancel;
mod cases;
mod check;
mod damage;
mod outside;
mod round_trip;
mod support;
