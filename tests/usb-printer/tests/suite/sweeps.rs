//! The plug pulled at every transfer of a job. That the link tells as many bytes as the printer took
//! or fewer, never more, is looked at after each pull by the scenario itself.

use crate::ways::both;
use tapewright_usb_emulator::scenario::{job, points};

#[track_caller]
fn sweep(fault: &str, fewer: usize) {
    let played = both(&format!("sweep-{fault}"), &[]);
    let pulls = points().len();
    assert!(pulls > 100, "found only {pulls} points");
    assert_eq!(played.told, format!("{pulls} times unplugged, {fewer} times fewer told than taken\n"));
    let whole = job();
    let wanted: Vec<u8> = points().into_iter().flat_map(|at| whole[..at].to_vec()).collect();
    assert!(played.taken == wanted, "found {} bytes, wanted {}", played.taken.len(), wanted.len());
}

#[test]
fn an_orderly_unplug_tells_exactly_what_was_taken() {
    sweep("unplug", 0);
}

#[test]
fn a_garbled_unplug_tells_exactly_what_was_taken() {
    sweep("rip", 0);
}

#[test]
fn an_unplug_that_loses_the_last_transfer_tells_fewer() {
    // All but those at the first byte of a transfer.
    let within = points().into_iter().filter(|at| at % tapewright_usb::CHUNK > 0).count();
    sweep("vanish", within);
}
