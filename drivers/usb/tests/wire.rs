//! The logic over a wire that gives what it is told to, for what no printer in order would do.
//!
//! Whole jobs, faults and plugs, over a model of a printer and through libusb, are the tests of
//! `tests/usb-printer`.
#![forbid(unsafe_code)]

use std::cell::RefCell;
use std::collections::VecDeque;
use std::time::Duration;
use tapewright_usb::{Acts, CHUNK, Data, Error, Layout, Printer, Protocol, Stop, Wire, WriteFailure};

const LONG: Duration = Duration::from_secs(60);

const LAYOUT: Layout = Layout {
    configuration: 1,
    interface: 2,
    setting: 3,
    protocol: Protocol::Bidirectional,
    output: 0x04,
    input: Some((0x85, 64)),
};

/// One answer: the bytes moved, and the end.
type Step = (Vec<u8>, Result<(), Stop>);

/// Gives its steps one after the other, and keeps what it was asked.
#[derive(Debug, Default)]
struct Script {
    steps: RefCell<VecDeque<Step>>,
    asked: RefCell<Vec<String>>,
}

impl Script {
    fn step(&self, asked: String) -> Step {
        self.asked.borrow_mut().push(asked);
        self.steps.borrow_mut().pop_front().expect("the script has a step left")
    }
}

impl Wire for &Script {
    fn control(
        &self,
        request_type: u8,
        request: u8,
        value: u16,
        index: u16,
        data: &mut [u8],
        _: Duration,
    ) -> Result<usize, Stop> {
        let (bytes, end) =
            self.step(format!("{request_type:02x} {request:02x} {value:04x} {index:04x} {}", data.len()));
        data[..bytes.len()].copy_from_slice(&bytes);
        end.map(|()| bytes.len())
    }

    fn bulk(&self, endpoint: u8, data: Data<'_>, _: Duration) -> (usize, Result<(), Stop>) {
        match data {
            Data::Out(sent) => {
                let (bytes, end) = self.step(format!("{endpoint:02x} out {}", sent.len()));
                (bytes.len(), end)
            }
            Data::In(room) => {
                let (bytes, end) = self.step(format!("{endpoint:02x} in {}", room.len()));
                room[..bytes.len()].copy_from_slice(&bytes);
                (bytes.len(), end)
            }
        }
    }

    fn clear_halt(&self, endpoint: u8) -> Result<(), Stop> {
        self.step(format!("{endpoint:02x} clear")).1
    }
}

fn script(steps: impl IntoIterator<Item = (usize, Result<(), Stop>)>) -> Script {
    let steps = steps.into_iter().map(|(count, end)| (vec![7; count], end)).collect();
    Script { steps: RefCell::new(steps), ..Script::default() }
}

fn over(script: &Script) -> Printer<&Script> {
    Printer::over(script, LAYOUT)
}

/// What a write of `count` bytes gives, and what the wire was asked.
fn write(count: usize, script: &Script) -> (Result<(), WriteFailure>, Vec<String>) {
    let result = over(script).write(&vec![1; count], LONG);
    assert!(script.steps.borrow().is_empty(), "steps left: {:?}", script.steps);
    (result, script.asked.take())
}

#[test]
fn bytes_go_in_chunks_and_go_on_after_a_short_one() {
    let (result, asked) = write(40_000, &script([(CHUNK, Ok(())), (100, Ok(())), (CHUNK, Ok(())), (7132, Ok(()))]));
    assert_eq!(result, Ok(()));
    assert_eq!(asked, ["04 out 16384", "04 out 16384", "04 out 16384", "04 out 7132"]);
}

#[test]
fn nothing_is_sent_where_there_is_nothing_or_no_time() {
    assert_eq!(write(0, &script([])), (Ok(()), vec![]));
    let none = script([]);
    let failure = over(&none).write(&[1], Duration::ZERO).unwrap_err();
    assert_eq!(failure, WriteFailure { sent: 0, cause: Error::TimedOut });
}

#[test]
fn a_time_out_with_the_last_byte_is_no_failure() {
    assert_eq!(write(10, &script([(10, Err(Stop::TimedOut))])).0, Ok(()));
    let failed = WriteFailure { sent: 9, cause: Error::TimedOut };
    assert_eq!(write(10, &script([(9, Err(Stop::TimedOut))])).0, Err(failed));
}

#[test]
fn a_stall_with_the_last_byte_is_cleared_all_the_same() {
    let (result, asked) = write(10, &script([(10, Err(Stop::Stalled)), (0, Ok(()))]));
    assert_eq!((result, asked), (Ok(()), vec!["04 out 10".to_owned(), "04 clear".to_owned()]));
}

#[test]
fn a_halt_that_cannot_be_ended_ends_the_write() {
    let failed = WriteFailure { sent: 4, cause: Error::Unplugged };
    assert_eq!(write(10, &script([(4, Err(Stop::Stalled)), (0, Err(Stop::Gone))])).0, Err(failed));
}

#[test]
fn garbled_bytes_mean_an_unplugged_printer_only_if_it_is_gone() {
    let (result, asked) = write(10, &script([(4, Err(Stop::Garbled)), (1, Ok(()))]));
    assert_eq!(result, Err(WriteFailure { sent: 4, cause: Error::Garbled }));
    assert_eq!(asked[1], "a1 01 0000 0002 1");
    // The system learns of it after the first failures.
    for failures in 0..4 {
        let garbled = (0..failures).map(|_| (0, Err(Stop::Garbled)));
        let steps = [(4, Err(Stop::Garbled))].into_iter().chain(garbled).chain([(0, Err(Stop::Gone))]);
        assert_eq!(write(10, &script(steps)).0, Err(WriteFailure { sent: 4, cause: Error::Unplugged }));
    }
    // But it is not waited for without end.
    let steps = std::iter::once((4, Err(Stop::Garbled))).chain((0..20).map(|_| (0, Err(Stop::Garbled))));
    assert_eq!(write(10, &script(steps)).0, Err(WriteFailure { sent: 4, cause: Error::Garbled }));
}

#[test]
fn other_failures_keep_their_words() {
    let (result, _) = write(10, &script([(3, Err(Stop::Other("libusb gave error -11".into())))]));
    let failure = result.unwrap_err();
    assert_eq!(failure.to_string(), "after 3 bytes: the system's USB failed: libusb gave error -11");
    assert_eq!(failure.cause.acts(), Acts::Administrator);
}

#[test]
fn reads_ask_for_whole_packets_and_keep_what_is_over() {
    let script = script([(64, Ok(())), (10, Ok(())), (0, Err(Stop::TimedOut))]);
    let (mut printer, mut bytes) = (over(&script), Vec::new());
    assert_eq!(printer.read(70, LONG, &mut bytes), Ok(70));
    assert_eq!(printer.read(3, LONG, &mut bytes), Ok(3));
    assert_eq!(printer.read(200, LONG, &mut bytes), Ok(1));
    assert_eq!(bytes, [7; 74]);
    assert_eq!(script.asked.take(), ["85 in 128", "85 in 64", "85 in 256"]);
}

#[test]
fn bytes_before_a_failure_are_kept() {
    let script = script([(5, Err(Stop::Gone))]);
    let (mut printer, mut bytes) = (over(&script), Vec::new());
    assert_eq!(printer.read(20, LONG, &mut bytes), Err(Error::Unplugged));
    assert_eq!(bytes, [7; 5]);
}

#[test]
fn a_read_that_is_halted_again_and_again_ends() {
    let halted = [(0, Err(Stop::Stalled)), (0, Ok(()))].into_iter().cycle().take(7);
    let script = script(halted);
    assert_eq!(over(&script).read(1, LONG, &mut Vec::new()), Err(Error::Stalled));
}

#[test]
fn more_than_a_packet_holds_is_a_wrong_answer() {
    let script = script([(0, Err(Stop::TooMuch))]);
    let error = over(&script).read(1, LONG, &mut Vec::new()).unwrap_err();
    assert_eq!(error.acts(), Acts::Maker);
    assert!(error.to_string().contains("wanted whole packets"), "{error}");
}

/// USB Printer Class 1.1, 4.2.1 to 4.2.3, and 1.0 for the second form of the reset; from memory.
#[test]
fn requests_stand_as_the_class_has_them() {
    let script =
        script([(1, Ok(())), (0, Ok(())), (2, Ok(())), (0, Err(Stop::Stalled)), (0, Ok(())), (0, Err(Stop::Gone))]);
    let mut printer = over(&script);
    assert_eq!(printer.port_status(), Ok(7));
    assert!(printer.port_status().unwrap_err().to_string().contains("port status of 0 bytes, wanted 1"));
    assert!(matches!(printer.device_id(), Err(Error::Answer { .. })));
    assert_eq!(printer.soft_reset(), Ok(()));
    assert_eq!(printer.soft_reset(), Err(Error::Unplugged));
    assert_eq!(
        script.asked.take(),
        [
            "a1 01 0000 0002 1",
            "a1 01 0000 0002 1",
            "a1 00 0001 0203 1024",
            "21 02 0000 0002 0",
            "23 02 0000 0002 0",
            "21 02 0000 0002 0"
        ]
    );
}
