//! One job, and what can befall it.

use crate::ways::{both, real};
use tapewright_usb_emulator::scenario::{JOB, job};

/// Plays `name` both ways, and compares what it told and that the printer took the first `taken`
/// bytes of the job, once and in order.
#[track_caller]
fn check(name: &str, options: &[&str], told: &str, taken: usize) {
    let played = both(name, options);
    assert_eq!(played.told, told, "{name} {options:?}");
    assert_eq!(played.taken.len(), taken, "{name} {options:?}");
    assert!(played.taken == job()[..taken], "{name} {options:?}: other bytes than those of the job");
}

#[test]
fn a_clean_job_arrives_byte_for_byte() {
    check("write", &[], "wrote\nstatus 0x18\nhalts ended 0\n", JOB);
}

#[test]
fn a_stall_is_cleared_and_the_job_goes_on_where_it_stopped() {
    for at in ["0", "1", "16383", "16384", "100000", "299999"] {
        let fault = format!("stall@{at}");
        check("write", &["--fault", &fault], "wrote\nstatus 0x18\nhalts ended 1\n", JOB);
    }
}

#[test]
fn stalls_with_progress_between_them_are_all_cleared() {
    let faults: Vec<String> = (1..=10).map(|nth| format!("stall@{}", nth * 25_000)).collect();
    let options: Vec<&str> = faults.iter().flat_map(|fault| ["--fault", fault.as_str()]).collect();
    check("write", &options, "wrote\nstatus 0x18\nhalts ended 10\n", JOB);
}

#[test]
fn three_stalls_in_a_row_are_cleared_and_a_fourth_is_not() {
    let three = ["--fault", "stall@5000"].repeat(3);
    check("write", &three, "wrote\nstatus 0x18\nhalts ended 3\n", JOB);
    let four = ["--fault", "stall@5000"].repeat(4);
    check("write", &four, "5000 bytes, then Stalled\nstatus 0x18\nhalts ended 3\n", 5000);
    check("write", &["--fault", "stuck@100000"], "100000 bytes, then Stalled\nstatus 0x18\nhalts ended 3\n", 100_000);
}

#[test]
fn short_transfers_are_continued() {
    let faults = ["short@0", "short@1", "short@2", "short@16384", "short@99999", "short@299999"];
    let options: Vec<&str> = faults.iter().flat_map(|fault| ["--fault", *fault]).collect();
    check("write", &options, "wrote\nstatus 0x18\nhalts ended 0\n", JOB);
}

#[test]
fn garbled_bytes_end_the_job_and_tell_what_was_taken() {
    let told = "100000 bytes, then Garbled\nstatus 0x18\nhalts ended 0\n";
    check("write", &["--fault", "garble@100000"], told, 100_000);
}

#[test]
fn an_unplugged_printer_is_reported_as_such() {
    let gone = "no status: Unplugged\nhalts ended 0\n";
    check("write", &["--fault", "unplug@100000"], &format!("100000 bytes, then Unplugged\n{gone}"), 100_000);
    check("write", &["--fault", "rip@100000"], &format!("100000 bytes, then Unplugged\n{gone}"), 100_000);
    // The host learns nothing of the seventh transfer: 6 × 16384 bytes are certain.
    check("write", &["--fault", "vanish@100000"], &format!("98304 bytes, then Unplugged\n{gone}"), 100_000);
}

#[test]
fn a_time_out_tells_the_bytes_taken_and_the_rest_can_follow() {
    for at in ["0", "1", "16384", "100000", "299999"] {
        let fault = format!("hang@{at}");
        let told = format!("{at} bytes, then TimedOut\nstatus 0x18\n0 bytes, then TimedOut\nwrote\nstatus 0x18\n");
        check("resume", &["--fault", &fault], &told, JOB);
    }
}

#[test]
fn a_printer_out_of_tape_shows_it_in_its_port_status() {
    let told = "100000 bytes, then TimedOut\nstatus 0x30\n0 bytes, then TimedOut\nwrote\nstatus 0x18\n";
    check("resume", &["--fault", "paper@100000"], told, JOB);
}

#[test]
fn a_soft_reset_makes_a_stopped_printer_take_the_next_job_in_both_forms_of_the_request() {
    for options in [vec![], vec!["--old-reset"]] {
        for (fault, cause) in [("hang@40000", "TimedOut"), ("stuck@40000", "Stalled")] {
            let played = both("reset", &[&options[..], &["--fault", fault]].concat());
            assert_eq!(played.told, format!("40000 bytes, then {cause}\nreset\nwrote\nresets 1\n"));
            assert!(played.taken == [&job()[..40_000], &job()].concat(), "{} bytes", played.taken.len());
        }
    }
}

/// Over libusb only: the fake has no time in which someone could load tape.
#[test]
fn a_write_outlasts_an_empty_tape_within_its_deadline() {
    for at in ["0", "100000", "299999"] {
        let played = real(&["wait"], &["--fault", &format!("paper@{at}")]);
        assert_eq!(played.told, "wrote\n", "{at}");
        assert!(played.taken == job(), "{at}: {} bytes", played.taken.len());
    }
}
