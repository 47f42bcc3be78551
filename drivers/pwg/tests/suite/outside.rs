//! `tests/outside/pwg_libcups.py`: libcupsimage reads what we wrote, and the script notices when
//! it does not.

use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use crate::round_trip::{cropped, random_job, split_at_cuts};
use crate::support::{Piece, Random, write};

fn script(stream: &Path, pbm: &Path) -> Output {
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../tests/outside/pwg_libcups.py");
    Command::new("python3").arg(script).args([stream, pbm]).output().expect("this test needs Python: install python3")
}

/// Writes `job.pwg` and the PBM files, and returns where.
fn job(name: &str, seed: u64) -> (PathBuf, PathBuf) {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join(name);
    if folder.exists() {
        std::fs::remove_dir_all(&folder).unwrap();
    }
    let pbm = folder.join("pbm");
    std::fs::create_dir_all(&pbm).unwrap();
    let mut random = Random::new(seed);
    let (whole_head, cut_list) = (seed.is_multiple_of(2), !seed.is_multiple_of(3));
    let (mut job, pieces) = random_job(&mut random, whole_head, cut_list);
    // A resolution of less than 1 dpi cannot be told from the header.
    job.dpi_along_milli = job.dpi_along_milli.max(180_000);
    let (first, width) = if whole_head { (0, job.dots) } else { (i64::from(job.web_first_dot), job.web_dots) };
    let mut pages: Vec<Piece> = pieces.iter().map(|piece| cropped(piece, first, width)).collect();
    if !cut_list {
        pages = pages.iter().flat_map(split_at_cuts).collect();
    }
    let stream = folder.join("job.pwg");
    let bytes = write(&job, &pieces, |lines| (lines, true)).unwrap();
    std::fs::write(&stream, bytes).unwrap();
    for (page, number) in pages.iter().zip(1..) {
        let mut file = format!("P4\n{} {}\n", page.dots, page.rows.len()).into_bytes();
        file.extend(page.rows.concat());
        std::fs::write(pbm.join(format!("strip-{number:04}.pbm")), file).unwrap();
    }
    (stream, pbm)
}

#[test]
fn libcupsimage_reads_the_same() {
    for seed in 200..212 {
        let (stream, pbm) = job("libcups-same", seed);
        let output = script(&stream, &pbm);
        let said = String::from_utf8_lossy(&output.stderr).into_owned();
        assert!(output.status.success(), "seed {seed}: {said}");
    }
}

#[test]
fn the_script_notices() {
    let (stream, pbm) = job("libcups-differs", 201);
    let (whole, first) = (std::fs::read(&stream).unwrap(), pbm.join("strip-0001.pbm"));
    let picture = std::fs::read(&first).unwrap();
    let refused = |what: &str| {
        let output = script(&stream, &pbm);
        let said = String::from_utf8_lossy(&output.stderr).into_owned();
        assert_eq!(output.status.code(), Some(1), "{what}: {said}");
        assert!(said.contains(what), "wanted {what}, found {said}");
    };

    let mut other = picture.clone();
    *other.last_mut().unwrap() ^= 0x80;
    std::fs::write(&first, other).unwrap();
    refused("differ first in line");
    std::fs::write(&first, &picture).unwrap();

    let spare = pbm.join("strip-0099.pbm");
    std::fs::write(&spare, &picture).unwrap();
    refused("as the stream has pages");
    std::fs::remove_file(&spare).unwrap();

    let damaged = |at: usize, value: u8| {
        let mut stream_bytes = whole.clone();
        stream_bytes[at] = value;
        std::fs::write(&stream, stream_bytes).unwrap();
    };
    damaged(3, b'3');
    refused("the stream begins with");
    damaged(4 + 404, 1);
    refused("reserved bytes are");
    damaged(4 + 1796 + 1, 128);
    refused("code 128");
    std::fs::write(&stream, &whole[..whole.len() - 1]).unwrap();
    refused("too early");
    std::fs::write(&stream, [&whole[..], &[0]].concat()).unwrap();
    refused("1 bytes are left");
}
