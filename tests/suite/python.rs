//! Checkers in Python, run with the interpreter that `tests/run` sets up.

use crate::sources;
use std::ffi::OsStr;
use std::path::{Path, PathBuf};
use std::process::Command;

/// The interpreter in the target folder, with the packages of `tests/outside/requirements.txt`.
fn interpreter() -> PathBuf {
    let target = Path::new(env!("CARGO_TARGET_TMPDIR")).parent().expect("the target folder");
    let path = target.join("venv/bin/python");
    assert!(
        path.exists(),
        "no Python at {}: run tests/run, which makes it and installs what the checkers need",
        path.display()
    );
    path
}

/// Runs `tests/outside/NAME`: what it prints, or why it says no.
pub(crate) fn judge<S: AsRef<OsStr>>(name: &str, arguments: impl IntoIterator<Item = S>) -> Result<String, String> {
    let script = sources::root().join("tests/outside").join(name);
    assert!(script.is_file(), "tests/outside/{name} is missing");
    let mut command = Command::new(interpreter());
    command.arg("-B").arg(&script).args(arguments);
    let output = command.output().expect("Python starts");
    let (said, why) = (String::from_utf8_lossy(&output.stdout), String::from_utf8_lossy(&output.stderr));
    let words: Vec<_> = command.get_args().skip(2).map(|word| word.to_string_lossy().into_owned()).collect();
    if let Some((_, module)) = why.split_once("ModuleNotFoundError: No module named ") {
        panic!("{name} needs the Python module {}: run tests/run, which installs it", module.trim_end());
    }
    // Only 0 and 1 are answers: a crash of the checker is neither.
    match output.status.code() {
        Some(0) => Ok(said.into_owned()),
        Some(1) if !why.contains("Traceback") => Err(format!("{name} {}: {said}{why}", words.join(" "))),
        code => panic!("{name} {} ended with {code:?}: {said}{why}", words.join(" ")),
    }
}

/// Runs `tests/outside/NAME`, which must find all in order; what it prints.
#[track_caller]
pub(crate) fn check<S: AsRef<OsStr>>(name: &str, arguments: impl IntoIterator<Item = S>) -> String {
    judge(name, arguments).unwrap_or_else(|why| panic!("{why}"))
}

/// Runs `tests/outside/NAME`, which must find something wrong and say so in these words.
#[track_caller]
pub(crate) fn refuses<S: AsRef<OsStr>>(name: &str, arguments: impl IntoIterator<Item = S>, words: &str) {
    match judge(name, arguments) {
        Ok(said) => panic!("{name} found nothing wrong: {said}"),
        Err(why) => assert!(why.contains(words), "{name}: found {why:?}, wanted `{words}` in it"),
    }
}
