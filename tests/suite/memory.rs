//! Memory: a stream of 20,000 labels is made in as little as one of 2,000. Never time: machines differ.

use crate::program::{self, folder, needs_modules};
use crate::python;
use std::fmt::Write as _;
use std::fs::File;
use std::io::Read;
use std::path::Path;
use std::process::Stdio;

/// The most the program may hold, in KiB. The file holds 105 MB of raster for 10,000 cables at one
/// bit a dot, so this cannot be met by holding the strips. The kernel counts pages of the program's
/// code, too: unoptimised, there are some MiB more of them.
const MOST_KIB: u64 = if cfg!(debug_assertions) { 24 << 10 } else { 16 << 10 };

fn list(path: &Path, cables: usize) {
    let mut text = String::from("owner,batch,number,length,od\n");
    for nth in 0..cables {
        let length = [15, 25, 50][nth % 3];
        let _ = writeln!(text, "TWP,OTTER,{},{length} ft,{}.{} mm", 10_000 + nth, 4 + nth % 6, nth % 10);
    }
    std::fs::write(path, text).expect("a file can be written");
}

/// The high-water mark of a process's memory, KiB (proc(5), VmHWM); `None` once it has ended.
fn high_water(process: u32) -> Option<u64> {
    let mut status = String::new();
    File::open(format!("/proc/{process}/status")).ok()?.read_to_string(&mut status).ok()?;
    let line = status.lines().find(|line| line.starts_with("VmHWM:"))?;
    line.split_whitespace().nth(1)?.parse().ok()
}

/// Peak memory while the list is printed into a pipe, KiB.
///
/// The program cannot end before its last bytes are taken, and the mark is read after each take:
/// at most what it does after handing over the last of some megabytes is missed.
fn peak(folder: &Path, list: &str) -> u64 {
    let mut command = program::command(folder);
    command.args(["print", list, "--to", "-", "--quiet"]).stdout(Stdio::piped());
    let mut child = command.spawn().expect("the program starts");
    let mut stream = child.stdout.take().expect("a pipe");
    let (mut buffer, mut peak, mut bytes, mut marks) = (vec![0; 1 << 16], 0, 0, 0);
    loop {
        let got = stream.read(&mut buffer).expect("the pipe can be read");
        if got == 0 {
            break;
        }
        bytes += got;
        if let Some(now) = high_water(child.id()) {
            peak = peak.max(now);
            marks += 1;
        }
    }
    assert_eq!(child.wait().expect("the program ends").code(), Some(0), "{list}");
    assert!(bytes > 100_000 && marks > 10 && peak > 500, "{list}: {bytes} bytes, {marks} marks, peak {peak} KiB");
    peak
}

#[test]
fn memory_does_not_grow_with_the_job() {
    needs_modules();
    let folder = folder();
    let path = folder.path();
    list(&path.join("1000.csv"), 1_000);
    list(&path.join("10000.csv"), 10_000);
    let (small, large) = (peak(path, "1000.csv"), peak(path, "10000.csv"));
    println!("peak memory: {small} KiB for 1,000 cables, {large} KiB for 10,000");
    assert!(large <= MOST_KIB, "10,000 cables took {large} KiB, wanted {MOST_KIB} at most");
    assert!(
        large * 100 <= small * 135,
        "10,000 cables took {large} KiB, 1,000 took {small}: wanted 1.35 times at most"
    );
}

/// The same to a file, as the kernel accounts for it when the program has ended.
#[test]
fn memory_is_bounded_for_a_file_too() {
    needs_modules();
    let folder = folder();
    let path = folder.path();
    list(&path.join("cables.csv"), 10_000);
    let (list, to) = (path.join("cables.csv"), format!("file:{}", path.join("out.pwg").display()));
    let said = python::check(
        "peak_memory.py",
        [
            program::path().as_os_str(),
            "print".as_ref(),
            list.as_os_str(),
            "--quiet".as_ref(),
            "--to".as_ref(),
            to.as_ref(),
        ],
    );
    let peak: u64 =
        said.lines().last().and_then(|line| line.parse().ok()).unwrap_or_else(|| panic!("found {said:?}, wanted KiB"));
    println!("peak memory: {peak} KiB for 10,000 cables to a file");
    let written = std::fs::metadata(path.join("out.pwg")).map_or(0, |file| file.len());
    assert!(written > 5_000_000, "only {written} bytes were written");
    assert!((500..=MOST_KIB).contains(&peak), "10,000 cables took {peak} KiB, wanted {MOST_KIB} at most");
}
