//! What goes wrong, and at which byte. Never at which moment: a clock makes tests that fail under
//! load.

use std::str::FromStr;

/// What goes wrong.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// The endpoint halts, once.
    Stall,
    /// The endpoint halts, and again each time the halt is ended.
    Stuck,
    /// The transfer ends short, once.
    Short,
    /// The plug is pulled; the host learns of each byte taken.
    Unplug,
    /// The plug is pulled; the host learns nothing of the last transfer.
    Vanish,
    /// The plug is pulled; the host sees garbled bytes before it sees that the device is gone.
    Rip,
    /// Bytes are garbled, once.
    Garble,
    /// The printer takes nothing more until it is told to resume.
    Hang,
    /// The same, and the port status says that the tape is out.
    Paper,
}

/// One fault: it strikes when the printer is about to take byte `at`, counted from 0.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Fault {
    /// What goes wrong.
    pub kind: Kind,
    /// At which byte of all that are sent.
    pub at: u64,
}

impl FromStr for Fault {
    type Err = String;

    /// Reads `KIND@BYTE`.
    fn from_str(text: &str) -> Result<Self, String> {
        let wrong = || {
            format!(
                "found fault `{text}`, wanted stall, stuck, short, unplug, vanish, rip, garble, hang or paper @BYTE"
            )
        };
        let (kind, at) = text.split_once('@').ok_or_else(wrong)?;
        let kind = match kind {
            "stall" => Kind::Stall,
            "stuck" => Kind::Stuck,
            "short" => Kind::Short,
            "unplug" => Kind::Unplug,
            "vanish" => Kind::Vanish,
            "rip" => Kind::Rip,
            "garble" => Kind::Garble,
            "hang" => Kind::Hang,
            "paper" => Kind::Paper,
            _ => return Err(wrong()),
        };
        Ok(Self { kind, at: at.parse().map_err(|_| wrong())? })
    }
}
