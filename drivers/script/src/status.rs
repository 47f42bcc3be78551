//! What a printer answers, and what it means.

use std::time::Duration;

use tapewright_kit::{DeviceStatus, Fault};

use crate::node::Node;

/// Asking for the state, and reading the answer.
#[derive(Debug, Clone)]
pub(crate) struct Question {
    pub(crate) reply_bytes: u32,
    pub(crate) time_out: Duration,
    pub(crate) at_job_start: bool,
    pub(crate) at_strip_end: bool,
    pub(crate) busy_wait: Duration,
    pub(crate) busy_tries: u32,
    /// What every answer has; one without is not of this family.
    valid: Vec<Test>,
    cases: Vec<Case>,
    width: Option<Width>,
    kind: Option<Kinds>,
}

/// A byte of the answer, under a mask.
#[derive(Debug, Clone, Copy)]
struct Test {
    byte: usize,
    mask: u8,
    is: u8,
}

#[derive(Debug, Clone)]
struct Case {
    test: Test,
    means: Meaning,
    text: Option<String>,
    code: u32,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Meaning {
    Ready,
    Busy,
    StockOut,
    CoverOpen,
    Fault,
}

#[derive(Debug, Clone, Copy)]
struct Width {
    byte: usize,
    unit_um: u32,
}

#[derive(Debug, Clone)]
struct Kinds {
    byte: usize,
    names: Vec<(u8, String)>,
}

/// What the job needs.
#[derive(Debug, Clone, Default)]
pub(crate) struct Needed {
    /// Micrometres; 0: not known.
    pub(crate) width_um: u32,
    pub(crate) kind: String,
    pub(crate) title: String,
}

impl Needed {
    fn stock(&self) -> String {
        if self.title.is_empty() { format!("{} {}", millimetres(self.width_um), self.kind) } else { self.title.clone() }
    }
}

fn millimetres(um: u32) -> String {
    let text = format!("{}.{:03}", um / 1000, um % 1000);
    format!("{} mm", text.trim_end_matches('0').trim_end_matches('.'))
}

/// An answer that was understood.
#[derive(Debug)]
pub(crate) struct Answer {
    pub(crate) status: DeviceStatus,
    /// Why the job cannot go on; not for busy alone.
    pub(crate) fault: Option<Fault>,
}

impl Test {
    fn holds(self, reply: &[u8]) -> bool {
        reply.get(self.byte).is_some_and(|byte| byte & self.mask == self.is)
    }
}

impl Question {
    /// Reads the bytes of an answer.
    ///
    /// # Errors
    ///
    /// A fault when the bytes are no answer of this family.
    pub(crate) fn read(&self, reply: &[u8], needed: &Needed) -> Result<Answer, Fault> {
        let strange = |wanted: String| {
            Fault::device(format!(
                "the printer answers {}, wanted {wanted}; check the driver in the printer profile, switch the printer off and on, and send the job again",
                hex(reply)
            ))
            .with_retry()
        };
        if reply.len() != self.reply_bytes as usize {
            return Err(strange(format!("{} bytes", self.reply_bytes)));
        }
        if let Some(test) = self.valid.iter().find(|test| !test.holds(reply)) {
            let mask = if test.mask == 0xFF { String::new() } else { format!(" under mask {:02X}", test.mask) };
            return Err(strange(format!("{:02X}{mask} in byte {}", test.is, test.byte)));
        }
        let mut status = DeviceStatus { known: true, ..DeviceStatus::default() };
        let mut fault: Option<Fault> = None;
        let mut put = |found: Fault| {
            fault.get_or_insert(found.with_retry());
        };
        let mut says_ready = false;
        for case in self.cases.iter().filter(|case| case.test.holds(reply)) {
            let text = |default: String| case.text.clone().unwrap_or(default);
            match case.means {
                Meaning::Ready => says_ready = true,
                Meaning::Busy => status.busy = true,
                Meaning::StockOut => {
                    status.stock_out = true;
                    let text = text(format!(
                        "the printer has run out of stock; load {} and send the job again",
                        needed.stock()
                    ));
                    put(Fault::device(text).with_code(case.code));
                }
                Meaning::CoverOpen => {
                    status.cover_open = true;
                    let text = text("the cover of the printer is open; close it and send the job again".to_owned());
                    put(Fault::device(text).with_code(case.code));
                }
                Meaning::Fault => {
                    status.fault = true;
                    let text = text(format!(
                        "the printer reports a fault (answer {}); clear it at the printer and send the job again",
                        hex(reply)
                    ));
                    put(Fault::device(text).with_code(case.code));
                }
            }
        }
        self.look_at_stock(reply, needed, &mut status, &mut put);
        let has_ready = self.cases.iter().any(|case| case.means == Meaning::Ready);
        status.ready = fault.is_none() && !status.busy && (says_ready || !has_ready);
        if has_ready && !says_ready && !status.busy && fault.is_none() {
            fault = Some(
                Fault::device(format!(
                    "the printer says that it is not ready (answer {}); see what it shows and send the job again",
                    hex(reply)
                ))
                .with_retry(),
            );
        }
        if let Some(fault) = &fault {
            status.text.clone_from(&fault.text);
        }
        Ok(Answer { status, fault })
    }

    fn look_at_stock(&self, reply: &[u8], needed: &Needed, status: &mut DeviceStatus, put: &mut impl FnMut(Fault)) {
        let byte = |at: usize| reply.get(at).copied().unwrap_or(0);
        let mut found = Vec::new();
        if let Some(width) = self.width {
            status.found_width_um = u32::from(byte(width.byte)) * width.unit_um;
            if status.found_width_um != 0 {
                found.push(millimetres(status.found_width_um));
            }
            // The printer rounds to its unit, up or down.
            let is_other = status.found_width_um.abs_diff(needed.width_um) >= width.unit_um;
            status.wrong_stock |= status.found_width_um != 0 && needed.width_um != 0 && is_other;
        }
        if let Some(kinds) = &self.kind {
            let kind = kinds.names.iter().find(|(value, _)| *value == byte(kinds.byte));
            if let Some((_, kind)) = kind {
                status.found_kind.clone_from(kind);
                found.push(kind.clone());
                status.wrong_stock |= !needed.kind.is_empty() && *kind != needed.kind;
            }
        }
        // Without stock there is no wrong one.
        status.wrong_stock &= !status.stock_out;
        if status.wrong_stock {
            let wanted = match needed.width_um {
                0 => needed.kind.clone(),
                width => format!("{} {}", millimetres(width), needed.kind),
            };
            put(Fault::device(format!(
                "the printer holds {}, the job is for {}; load {} and send the job again",
                found.join(" "),
                wanted.trim_end(),
                needed.stock().trim_end()
            )));
        }
    }
}

pub(crate) fn hex(bytes: &[u8]) -> String {
    let shown: Vec<String> = bytes.iter().take(16).map(|byte| format!("{byte:02X}")).collect();
    let rest = if bytes.len() > 16 { format!(" and {} more", bytes.len() - 16) } else { String::new() };
    format!("{}{rest}", shown.join(" "))
}

const KEYS: &[&str] =
    &["ask", "reply-bytes", "time-out-ms", "when", "busy-wait-ms", "busy-tries", "valid", "case", "width", "kind"];

/// Reads `[status]`; `ask` is read with the commands.
pub(crate) fn read(node: Node<'_>) -> Result<Question, Fault> {
    let table = node.table(KEYS)?;
    let reply_bytes = table.want("reply-bytes")?.count(1, 256)?;
    let mut question = Question {
        reply_bytes,
        time_out: Duration::from_millis(table.want("time-out-ms")?.count(1, 600_000)?.into()),
        at_job_start: false,
        at_strip_end: false,
        busy_wait: Duration::from_millis(250),
        busy_tries: 40,
        valid: Vec::new(),
        cases: Vec::new(),
        width: None,
        kind: None,
    };
    let when = table.want("when")?;
    for part in when.list()? {
        match part.word(&[("job-start", true), ("strip-end", false)])? {
            true => question.at_job_start = true,
            false => question.at_strip_end = true,
        }
    }
    if !question.at_job_start && !question.at_strip_end {
        return Err(when.mistake("found an empty list, wanted job-start, strip-end or both"));
    }
    if let Some(wait) = table.get("busy-wait-ms") {
        question.busy_wait = Duration::from_millis(wait.count(1, 600_000)?.into());
    }
    if let Some(tries) = table.get("busy-tries") {
        question.busy_tries = tries.count(1, 10_000)?;
    }
    if let Some(valid) = table.get("valid") {
        for part in valid.list()? {
            let part = part.table(&["byte", "mask", "is"])?;
            question.valid.push(test(&part, reply_bytes)?);
        }
    }
    if let Some(cases) = table.get("case") {
        for part in cases.list()? {
            question.cases.push(case(part, reply_bytes)?);
        }
    }
    if let Some(width) = table.get("width") {
        let width = width.clone().table(&["byte", "unit-um"])?;
        let unit_um = width.get("unit-um").map_or(Ok(1000), |unit| unit.count(1, 100_000))?;
        question.width = Some(Width { byte: place(&width, reply_bytes)?, unit_um });
    }
    if let Some(kind) = table.get("kind") {
        let kind = kind.clone().table(&["byte", "names"])?;
        let names = kind.want("names")?;
        let mut found: Vec<(u8, String)> = Vec::new();
        for (value, name) in names.entries()? {
            match crate::node::hex(value).as_deref() {
                Some([value]) if found.iter().all(|(known, _)| known != value) => found.push((*value, name.id()?)),
                _ => return Err(name.mistake("wanted a new byte of two hexadecimal digits as key, as in \"0F\"")),
            }
        }
        question.kind = Some(Kinds { byte: place(&kind, reply_bytes)?, names: found });
    }
    if question.cases.is_empty() && question.width.is_none() && question.kind.is_none() {
        return Err(table
            .node()
            .mistake("found nothing to read in the reply, wanted at least one case, width or kind"));
    }
    Ok(question)
}

fn place(table: &crate::node::Table<'_>, reply_bytes: u32) -> Result<usize, Fault> {
    table.want("byte")?.count(0, reply_bytes - 1).map(|byte| byte as usize)
}

fn test(table: &crate::node::Table<'_>, reply_bytes: u32) -> Result<Test, Fault> {
    let byte = place(table, reply_bytes)?;
    let mask = table.get("mask").map_or(Ok(0xFF), Node::hex_byte)?;
    let is = table.want("is")?;
    let value = is.hex_byte()?;
    if value & !mask != 0 {
        return Err(is.mistake(format!("found {value:02X}, which mask {mask:02X} never leaves")));
    }
    Ok(Test { byte, mask, is: value })
}

fn case(node: Node<'_>, reply_bytes: u32) -> Result<Case, Fault> {
    let table = node.table(&["byte", "mask", "is", "means", "text", "code"])?;
    let means = table.want("means")?.word(&[
        ("ready", Meaning::Ready),
        ("busy", Meaning::Busy),
        ("stock-out", Meaning::StockOut),
        ("cover-open", Meaning::CoverOpen),
        ("fault", Meaning::Fault),
    ])?;
    for key in ["text", "code"] {
        if let (Some(node), Meaning::Ready | Meaning::Busy) = (table.get(key), means) {
            return Err(node.mistake("found beside ready or busy, wanted it beside a fault only"));
        }
    }
    Ok(Case {
        test: test(&table, reply_bytes)?,
        means,
        text: table.get("text").map(Node::title).transpose()?,
        code: table.get("code").map_or(Ok(0), |code| code.count(0, u32::MAX))?,
    })
}
