//! Jobs as values: written through the host, read back through the host.

use std::collections::VecDeque;
use std::convert::Infallible;
use std::path::{Path, PathBuf};
use std::sync::OnceLock;
use std::time::Duration;

use tapewright_host::{Cut, DeviceStatus, Events, Failure, HostError, JobSpec, Module, Page, Session, Sink, StripSpec};

use crate::round_trip;

/// A strip with its lines one by one.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub(crate) struct Piece {
    pub(crate) dots: u32,
    pub(crate) lead: u32,
    pub(crate) rows: Vec<Vec<u8>>,
    pub(crate) cuts: Vec<Cut>,
}

pub(crate) fn case_folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../../tests/cases/script")
}

/// A file that only its owner may write, as the host wants it, whatever the umask.
pub(crate) fn put(folder: &Path, name: &str, text: &str) {
    use std::os::unix::fs::PermissionsExt;
    let path = folder.join(name);
    std::fs::write(&path, text).unwrap();
    std::fs::set_permissions(&path, std::fs::Permissions::from_mode(0o644)).unwrap();
}

/// An empty folder of this test's own.
pub(crate) fn folder(name: &str) -> PathBuf {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join(name);
    if folder.exists() {
        std::fs::remove_dir_all(&folder).unwrap();
    }
    std::fs::create_dir_all(&folder).unwrap();
    folder
}

/// The module with the families built in, those of the cases, and those made for round trips; all
/// added by the host from one folder.
pub(crate) fn module() -> Module {
    static MODULE: OnceLock<Module> = OnceLock::new();
    *MODULE.get_or_init(|| {
        let folder = folder("families");
        for entry in std::fs::read_dir(case_folder().join("families")).unwrap() {
            let path = entry.unwrap().path();
            let name = path.file_name().unwrap().to_str().unwrap();
            put(&folder, name, &std::fs::read_to_string(&path).unwrap());
        }
        for (name, text) in round_trip::descriptions() {
            put(&folder, &format!("{name}.toml"), &text);
        }
        let entry = tapewright_driver_script::linked_entry();
        let (module, refused) = Module::from_entry_with_files("script", entry, &[folder]).unwrap();
        assert!(refused.is_empty(), "{refused:?}");
        module
    })
}

/// What came out of a session, in order.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Sent {
    Bytes(Vec<u8>),
    Wait(Duration),
    /// Bytes wanted, time, what the printer said.
    Reply(usize, Duration, Vec<u8>),
}

/// A printer that keeps what it hears and says what it was told to; then nothing.
#[derive(Debug, Default)]
pub(crate) struct Printer {
    pub(crate) sent: Vec<Sent>,
    pub(crate) says: VecDeque<Vec<u8>>,
}

impl Printer {
    pub(crate) fn stream(&self) -> Vec<u8> {
        let bytes = self.sent.iter().filter_map(|sent| match sent {
            Sent::Bytes(bytes) => Some(bytes.as_slice()),
            _ => None,
        });
        bytes.collect::<Vec<_>>().concat()
    }
}

impl Sink for Printer {
    type Error = Infallible;
    fn bytes(&mut self, bytes: &[u8]) -> Result<(), Infallible> {
        self.sent.push(Sent::Bytes(bytes.to_vec()));
        Ok(())
    }
    fn wait(&mut self, time: Duration) -> Result<(), Infallible> {
        self.sent.push(Sent::Wait(time));
        Ok(())
    }
    fn reply(&mut self, count: usize, time: Duration, reply: &mut Vec<u8>) -> Result<(), Infallible> {
        let said = self.says.pop_front().unwrap_or_default();
        reply.extend(said.iter().take(count));
        self.sent.push(Sent::Reply(count, time, reply.clone()));
        Ok(())
    }
}

/// What a printed job leaves: the steps with what each sent, and the state of the printer.
#[derive(Debug)]
pub(crate) struct Printed {
    pub(crate) steps: Vec<(String, Vec<Sent>)>,
    pub(crate) result: Result<(), HostError>,
    pub(crate) status: DeviceStatus,
}

impl Printed {
    pub(crate) fn stream(&self) -> Vec<u8> {
        let sent = self.steps.iter().flat_map(|(_, sent)| sent.clone()).collect();
        Printer { sent, says: VecDeque::new() }.stream()
    }
}

struct Run {
    session: Session,
    printer: Printer,
    steps: Vec<(String, Vec<Sent>)>,
}

impl Run {
    fn step(
        &mut self,
        name: impl Into<String>,
        step: impl FnOnce(&mut Session) -> Result<(), HostError>,
    ) -> Result<(), HostError> {
        let result = step(&mut self.session).and_then(|()| match self.session.drain(&mut self.printer) {
            Ok(()) => Ok(()),
            Err(Failure::Host(error)) => Err(error),
            Err(Failure::Caller(never)) => match never {},
        });
        self.steps.push((name.into(), std::mem::take(&mut self.printer.sent)));
        result
    }
}

/// Prints a job. `split(n)` says how many of `n` lines to hand over next, and whether blank ones
/// may go as blank lines. After a failure the job is cancelled.
pub(crate) fn print(
    family: &str,
    job: &JobSpec,
    pieces: &[Piece],
    says: &[&[u8]],
    mut split: impl FnMut(usize) -> (usize, bool),
) -> Printed {
    let session = module().open(family).unwrap();
    let says = says.iter().map(|bytes| bytes.to_vec()).collect();
    let mut run = Run { session, printer: Printer { sent: Vec::new(), says }, steps: Vec::new() };
    let mut go = |run: &mut Run| {
        run.step("job begins", |session| session.begin_job(job))?;
        for (index, piece) in (0..).zip(pieces) {
            let strip = StripSpec {
                index,
                lines: u32::try_from(piece.rows.len()).unwrap(),
                lead_lines: piece.lead,
                labels: 1,
                cuts: &piece.cuts,
                ..StripSpec::default()
            };
            run.step(format!("strip {} begins", index + 1), |session| session.begin_strip(&strip))?;
            let mut at = 0;
            while at < piece.rows.len() {
                let left = piece.rows.len() - at;
                let (now, may_blank) = split(left);
                let rows = &piece.rows[at..at + now.clamp(1, left)];
                let bytes = rows.concat();
                let count = u32::try_from(rows.len()).unwrap();
                let is_blank = may_blank && bytes.iter().all(|byte| *byte == 0);
                let name =
                    if count == 1 { format!("line {at}") } else { format!("lines {at} to {}", at + rows.len() - 1) };
                run.step(name, |session| if is_blank { session.blank(count) } else { session.lines(&bytes, count) })?;
                at += rows.len();
            }
            run.step(format!("strip {} ends", index + 1), Session::end_strip)?;
        }
        run.step("job ends", Session::end_job)
    };
    let result = go(&mut run);
    let status = run.session.status().unwrap();
    if result.is_err() {
        run.step("job cancelled", Session::cancel).unwrap();
    }
    Printed { steps: run.steps, result, status }
}

/// Collects what a decoder finds.
#[derive(Debug, Default)]
pub(crate) struct Collect {
    pub(crate) pages: Vec<Page>,
    pub(crate) pieces: Vec<Piece>,
}

impl Collect {
    fn piece(&mut self) -> &mut Piece {
        self.pieces.last_mut().unwrap()
    }
}

impl Events for Collect {
    type Error = Infallible;

    fn strip_begin(&mut self, page: &Page) -> Result<(), Infallible> {
        self.pages.push(*page);
        self.pieces.push(Piece { dots: page.dots, ..Piece::default() });
        Ok(())
    }

    fn lines(&mut self, rows: &[u8], _count: u32) -> Result<(), Infallible> {
        let bytes = self.piece().dots.div_ceil(8) as usize;
        let rows = rows.chunks_exact(bytes).map(<[u8]>::to_vec);
        self.piece().rows.extend(rows);
        Ok(())
    }

    fn blank(&mut self, count: u32) -> Result<(), Infallible> {
        let row = vec![0; self.piece().dots.div_ceil(8) as usize];
        // A damaged count may be anything; the test needs no more than this to see it.
        self.piece().rows.extend(std::iter::repeat_n(row, count.min(100_000) as usize));
        Ok(())
    }

    fn cut(&mut self, cut: Cut) -> Result<(), Infallible> {
        self.piece().cuts.push(cut);
        Ok(())
    }

    fn strip_end(&mut self) -> Result<(), Infallible> {
        Ok(())
    }
}

/// Reads a stream in pieces of `step` bytes.
pub(crate) fn read(family: &str, stream: &[u8], step: usize) -> Result<Collect, HostError> {
    let host = |failure: Failure<Infallible>| match failure {
        Failure::Host(error) => error,
        Failure::Caller(never) => match never {},
    };
    let mut decoder = module().readback(family)?.expect("the family reads back").decoder()?;
    let mut found = Collect::default();
    for bytes in stream.chunks(step) {
        decoder.push(bytes, &mut found).map_err(host)?;
    }
    decoder.finish(&mut found).map_err(host)?;
    Ok(found)
}

/// Numbers that look random and are the same on every machine (xorshift64*, from memory).
pub(crate) struct Random(u64);

impl Random {
    pub(crate) fn new(seed: u64) -> Random {
        Random(seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) | 1)
    }

    fn next(&mut self) -> u64 {
        self.0 ^= self.0 >> 12;
        self.0 ^= self.0 << 25;
        self.0 ^= self.0 >> 27;
        self.0.wrapping_mul(0x2545_F491_4F6C_DD1D) >> 16
    }

    pub(crate) fn byte(&mut self) -> u8 {
        self.next().to_le_bytes()[0]
    }

    /// 0 … end − 1.
    pub(crate) fn below(&mut self, end: u32) -> u32 {
        u32::try_from(self.next() % u64::from(end)).unwrap()
    }

    /// 0 … end − 1, as a count.
    pub(crate) fn count_below(&mut self, end: usize) -> usize {
        self.below(u32::try_from(end).unwrap()) as usize
    }
}
