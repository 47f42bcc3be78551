//! Golden streams: `tests/cases/script/*.case` at the root of the project.
//!
//! The stream stands there step by step.

use std::fmt::Write;

use tapewright_driver_tests::{Printed, Sent, hex};
use tapewright_host::HostError;

use crate::support::family;

#[test]
fn cases() {
    tapewright_driver_tests::cases("script", |case| {
        let says: Vec<&[u8]> = case.says.iter().map(Vec::as_slice).collect();
        let printed = family(&case.family).print(&case.job, &case.pieces, &says, |_| (1, true));
        let text = dump(&printed);
        if printed.result.is_ok() { Ok(text) } else { Err(text) }
    });
}

/// What was sent, as text: a line for each run of bytes, with its letters where it has some.
fn dump(printed: &Printed) -> String {
    let mut text = String::new();
    for (step, sent) in &printed.steps {
        for part in sent {
            match part {
                Sent::Bytes(bytes) => {
                    _ = write!(text, "{}  # {step}", hex(bytes));
                    if bytes.iter().filter(|byte| byte.is_ascii_alphabetic()).count() >= 4 {
                        _ = write!(text, ": {}", bytes.escape_ascii());
                    }
                    text.push('\n');
                }
                Sent::Wait(time) => _ = writeln!(text, "wait {} ms  # {step}", time.as_millis()),
                Sent::Reply(count, time, reply) => {
                    let reply = if reply.is_empty() { "nothing".to_owned() } else { hex(reply) };
                    let time = time.as_millis();
                    _ = writeln!(text, "wait {time} ms for {count} bytes: {reply}  # {step}");
                }
            }
        }
    }
    match &printed.result {
        Ok(()) => {}
        Err(HostError::Fault(fault)) => {
            let retry = if fault.retry { ", may be sent again" } else { "" };
            _ = writeln!(text, "{:?} {}{retry}: {}", fault.kind, fault.code, fault.text);
        }
        Err(other) => panic!("{other}"),
    }
    let status = &printed.status;
    if status.known {
        let flags = [
            (status.ready, "ready"),
            (status.busy, "busy"),
            (status.stock_out, "stock-out"),
            (status.cover_open, "cover-open"),
            (status.wrong_stock, "wrong-stock"),
            (status.fault, "fault"),
        ];
        let flags: Vec<&str> = flags.iter().filter(|(is, _)| *is).map(|(_, name)| *name).collect();
        let (width, kind) = (status.found_width_um, &status.found_kind);
        let flags = if flags.is_empty() { "not ready".to_owned() } else { flags.join(" ") };
        let kind = if kind.is_empty() { "unknown" } else { kind };
        _ = writeln!(text, "printer: {flags}; holds {width} um {kind}");
    }
    text
}
