//! The two ways to the printer.

use std::fs;
use std::io::{self, Write};
use std::process::{Command, Output};
use std::sync::{Arc, Mutex};
use tapewright_usb_emulator::scenario::play;
use tapewright_usb_emulator::{Model, Options, Shared};

/// What a scenario told, and what the printer took.
#[derive(Debug, PartialEq, Eq)]
pub(crate) struct Played {
    pub(crate) told: String,
    pub(crate) taken: Vec<u8>,
}

/// A writer whose bytes can be looked at.
#[derive(Clone, Default)]
struct Kept(Arc<Mutex<Vec<u8>>>);

impl Write for Kept {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.0.lock().unwrap().extend(bytes);
        Ok(bytes.len())
    }

    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}

/// Over the printer in this process.
pub(crate) fn fake(name: &str, options: &[&str]) -> Played {
    let options = Options::parse(options.iter().copied()).unwrap();
    let kept = Kept::default();
    let bench = Shared::new(Model::new(options.sheet, options.faults, Box::new(kept.clone())));
    let told = play(name, &bench).unwrap_or_else(|error| panic!("{name} over the fake: {error}"));
    let taken = kept.0.lock().unwrap().clone();
    Played { told, taken }
}

/// `usb-scenario` under `usb-printer`.
fn emulated(scenario: &[&str], options: &[&str]) -> (Output, Vec<u8>) {
    let folder = tempfile::tempdir().unwrap();
    let out = folder.path().join("taken");
    let mut command = Command::new(env!("CARGO_BIN_EXE_usb-printer"));
    command.arg("--out").arg(&out).args(options).arg("--").arg(env!("CARGO_BIN_EXE_usb-scenario")).args(scenario);
    let output = command.output().unwrap();
    // 125 is the emulator's own: without root or /dev/fuse it says so.
    assert_ne!(output.status.code(), Some(125), "{}", String::from_utf8_lossy(&output.stderr));
    (output, fs::read(&out).unwrap())
}

/// Over libusb.
pub(crate) fn real(scenario: &[&str], options: &[&str]) -> Played {
    let (output, taken) = emulated(scenario, options);
    let error = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "{scenario:?} over libusb: {}: {error}", output.status);
    Played { told: String::from_utf8(output.stdout).unwrap(), taken }
}

/// Both ways, which must agree; what they agree on.
#[track_caller]
pub(crate) fn both(name: &str, options: &[&str]) -> Played {
    let fake = fake(name, options);
    let real = real(&[name], options);
    assert_eq!(fake.told, real.told, "{name} {options:?}: fake and libusb");
    assert!(fake.taken == real.taken, "{name} {options:?}: {} and {} bytes", fake.taken.len(), real.taken.len());
    real
}
