//! Tests of the whole: the program through its command line, the library through its public items,
//! the tree through its files.
#![forbid(unsafe_code)]

// What the tests stand on.
#[path = "suite/jobs.rs"]
mod jobs;
#[path = "suite/pbm.rs"]
mod pbm;
#[path = "suite/program.rs"]
mod program;
#[path = "suite/python.rs"]
mod python;
#[cfg(target_os = "linux")]
#[path = "suite/rig.rs"]
mod rig;
#[path = "suite/sources.rs"]
mod sources;
#[path = "suite/specimen.rs"]
mod specimen;
#[path = "suite/streams.rs"]
mod streams;

// The tests.
#[path = "suite/builds.rs"]
mod builds;
#[path = "suite/codes.rs"]
mod codes;
#[path = "suite/contract.rs"]
mod contract;
#[cfg(target_os = "linux")]
#[path = "suite/crash.rs"]
mod crash;
#[path = "suite/demo.rs"]
mod demo;
#[cfg(target_os = "linux")]
#[path = "suite/devices.rs"]
mod devices;
#[path = "suite/fences.rs"]
mod fences;
#[path = "suite/floors.rs"]
mod floors;
#[cfg(unix)]
#[path = "suite/isolation.rs"]
mod isolation;
#[path = "suite/journal.rs"]
mod journal;
#[path = "suite/legible.rs"]
mod legible;
#[path = "suite/logos.rs"]
mod logos;
#[cfg(target_os = "linux")]
#[path = "suite/memory.rs"]
mod memory;
#[path = "suite/outside.rs"]
mod outside;
#[path = "suite/panels.rs"]
mod panels;
#[path = "suite/planner.rs"]
mod planner;
#[cfg(target_os = "linux")]
#[path = "suite/queue.rs"]
mod queue;
#[path = "suite/read.rs"]
mod read;
#[path = "suite/register.rs"]
mod register;
#[path = "suite/scripts.rs"]
mod scripts;
#[path = "suite/sheet.rs"]
mod sheet;
#[path = "suite/shelf.rs"]
mod shelf;
#[path = "suite/strict.rs"]
mod strict;
#[path = "suite/wrong.rs"]
mod wrong;
