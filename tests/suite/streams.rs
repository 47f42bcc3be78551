//! The streams of all jobs, printed and read back once for all tests.

use crate::jobs::{CASES, Case};
use crate::pbm::Pbm;
use crate::program;
use serde_json::Value;
use std::path::{Path, PathBuf};
use std::sync::OnceLock;

/// A job printed to a file and read back by the program.
pub(crate) struct Printed {
    pub(crate) case: &'static Case,
    pub(crate) name: String,
    pub(crate) job: PathBuf,
    pub(crate) stream: PathBuf,
    /// The folder of its PBM files.
    pub(crate) lines: PathBuf,
    /// The answer of `readback --json`, told the printer's own resolution.
    pub(crate) read: Value,
}

impl Printed {
    /// The strips as the program read them back.
    pub(crate) fn strips(&self) -> Vec<Pbm> {
        let count = self.read["strips"].as_array().map_or(0, Vec::len);
        let files = program::files(&self.lines);
        let wanted: Vec<String> = (1..=count).map(|nth| format!("strip-{nth:04}.pbm")).collect();
        assert_eq!(files, wanted, "{}: one PBM a strip", self.name);
        wanted.iter().map(|name| Pbm::read(&self.lines.join(name))).collect()
    }
}

fn print(case: &'static Case, base: &Path) -> Printed {
    let name = case.name();
    let folder = base.join(&name);
    std::fs::create_dir_all(&folder).expect("a folder can be made in the target folder");
    let job = case.write(&folder);
    let (stream, lines) = (folder.join("out.pwg"), folder.join("lines"));
    let printed = program::run(&folder, ["print", "job.toml", "--to", "file:out.pwg"]).ended(0);
    assert!(printed.err.is_empty(), "{name}: every cable gets its labels, but: {}", printed.err);
    let read = program::run(&folder, ["readback", "out.pwg", "--json", "--pbm", "lines"]).ended(0).json();
    Printed { case, name, job, stream, lines, read }
}

/// All jobs, printed.
pub(crate) fn all() -> &'static [Printed] {
    static ALL: OnceLock<Vec<Printed>> = OnceLock::new();
    ALL.get_or_init(|| {
        program::needs_modules();
        let base = Path::new(env!("CARGO_TARGET_TMPDIR")).join("streams");
        let _ = std::fs::remove_dir_all(&base);
        CASES.iter().map(|case| print(case, &base)).collect()
    })
}
