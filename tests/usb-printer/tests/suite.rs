//! The USB link over a printer that is not there: in this process, and through an unchanged libusb.
#![forbid(unsafe_code)]
#![cfg(target_os = "linux")]

#[path = "suite/ways.rs"]
mod ways;

#[path = "suite/answers.rs"]
mod answers;
#[path = "suite/jobs.rs"]
mod jobs;
#[path = "suite/opening.rs"]
mod opening;
#[path = "suite/sweeps.rs"]
mod sweeps;
