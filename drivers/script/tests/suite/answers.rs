//! What the printer answers: rubbish, silence, all bytes there are.

use tapewright_driver_tests::{Printed, Random, Sent};
use tapewright_host::{FaultKind, HostError};

use crate::round_trip::{job, random_piece};
use crate::support::family;

const READY: &[u8] = &[0x3D, 0x00, 12, 0x01];

fn footlight(says: &[&[u8]]) -> Printed {
    let piece = random_piece(&mut Random::new(2), 64, 0);
    family("footlight").print(&job(64, 1), &[piece], says, |lines| (lines, true))
}

/// Kind, whether it may be sent again, and text of a fault.
fn fault(printed: &Printed) -> (FaultKind, bool, &str) {
    match &printed.result {
        Err(HostError::Fault(fault)) => (fault.kind, fault.retry, &fault.text),
        other => panic!("{other:?}"),
    }
}

#[test]
fn silence_is_no_fault() {
    let printed = footlight(&[]);
    printed.result.unwrap();
    assert!(!printed.status.known);
}

#[test]
fn ready_is_told() {
    let printed = footlight(&[READY, READY]);
    printed.result.unwrap();
    assert!(printed.status.known && printed.status.ready);
    assert_eq!((printed.status.found_width_um, printed.status.found_kind.as_str()), (12_000, "tape"));
}

/// Every value of every byte of the answer: the job goes on or ends in a fault that may be sent
/// again and says what to do; the module keeps its contract.
#[test]
fn every_answer_of_one_other_byte() {
    let (mut went_on, mut stopped) = (0, 0);
    for at in 0..READY.len() {
        for value in 0..=255 {
            let mut reply = READY.to_vec();
            reply[at] = value;
            let printed = footlight(&[&reply, READY, READY, READY, READY]);
            match &printed.result {
                Ok(()) => went_on += 1,
                Err(HostError::Fault(fault)) => {
                    assert!(fault.retry && fault.kind == FaultKind::Fault, "{reply:02X?}: {fault:?}");
                    assert!(fault.text.contains("send the job again"), "{reply:02X?}: {fault:?}");
                    stopped += 1;
                }
                Err(other) => panic!("{reply:02X?}: {other}"),
            }
        }
    }
    assert!(went_on > 200 && stopped > 500, "{went_on} went on, {stopped} stopped");
}

#[test]
fn rubbish_of_any_length() {
    let mut random = Random::new(9);
    for length in 1..=4 {
        for _ in 0..200 {
            let reply: Vec<u8> = random.bytes(length);
            if reply.first() == Some(&0x3D) && length == 4 {
                continue;
            }
            let printed = footlight(&[&reply]);
            let (kind, retry, text) = fault(&printed);
            assert!(kind == FaultKind::Fault && retry && text.starts_with("the printer answers "), "{text}");
            assert!(!printed.status.known);
        }
    }
}

#[test]
fn a_busy_printer_is_asked_again() {
    let busy: &[u8] = &[0x3D, 0x01, 12, 0x01];
    let printed = footlight(&[busy, busy, READY, READY]);
    printed.result.as_ref().unwrap();
    let asked = |printed: &Printed| {
        let sent = printed.steps.iter().flat_map(|(_, sent)| sent);
        sent.filter(|sent| matches!(sent, Sent::Reply(4, ..))).count()
    };
    assert_eq!(asked(&printed), 4);
    let printed = footlight(&[busy; 9]);
    assert_eq!(asked(&printed), 4);
    let (_, retry, text) = fault(&printed);
    assert!(retry);
    assert_eq!(text, "the printer is still busy after 4 questions; wait until it is done and send the job again");
    assert!(printed.status.busy);
}

/// More than 4096 bytes: the printer must say that it has room again.
#[test]
fn acknowledgements() {
    let mut random = Random::new(4);
    let mut piece = random_piece(&mut random, 150, 0);
    piece.rows = (0..600).map(|_| (0..19).map(|at| if at < 18 { random.byte() } else { 0xA8 }).collect()).collect();
    let go =
        |says: &[&[u8]]| family("footlight").print(&job(150, 1), std::slice::from_ref(&piece), says, |_| (100, true));
    let printed = go(&[READY, b"+", b"+", b"+", READY]);
    printed.result.as_ref().unwrap();
    let mut since = 0;
    let mut waits = 0;
    for sent in printed.steps.iter().flat_map(|(_, sent)| sent) {
        match sent {
            Sent::Bytes(bytes) => since += bytes.len(),
            Sent::Reply(1, _, reply) => {
                assert!(since <= 4096, "{since} bytes without a rest");
                assert_eq!(reply, b"+");
                (since, waits) = (0, waits + 1);
            }
            other => assert!(matches!(other, Sent::Reply(4, ..)), "{other:?}"),
        }
    }
    assert_eq!((waits, since <= 4096), (3, true));
    let printed = go(&[READY, b"+", b"?"]);
    let (_, retry, text) = fault(&printed);
    assert!(retry);
    assert_eq!(
        text,
        "the printer answers 3F to a piece of the job, wanted 2B; see what it shows and send the job again"
    );
    let (step, last) = printed.steps.last().unwrap();
    assert_eq!(step, "job cancelled");
    assert_eq!(last, &[Sent::Bytes(b"\n\nHALT\n".to_vec())]);
}
