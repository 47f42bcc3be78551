//! Families described in files: golden streams, files that are refused, round trips, damage,
//! answers of the printer.

mod answers;
mod cases;
mod check;
mod damage;
mod refused;
mod round_trip;
mod support;
