//! `tests/outside/pwg_libcups.py`: libcupsimage reads what we wrote, and the script notices when
//! it does not.

use std::path::PathBuf;

use tapewright_driver_tests::{Random, Script, empty_folder, write_pbm};

use crate::round_trip::{pages, random_job};
use crate::support::PWG;

const SCRIPT: Script = Script("pwg_libcups.py");

/// Writes `job.pwg` and the PBM files, and returns where.
fn job(name: &str, seed: u64) -> (PathBuf, PathBuf) {
    let folder = empty_folder(env!("CARGO_TARGET_TMPDIR"), name);
    let (stream, pbm) = (folder.join("job.pwg"), folder.join("pbm"));
    let (whole_head, cut_list) = (seed.is_multiple_of(2), !seed.is_multiple_of(3));
    let (mut job, pieces) = random_job(&mut Random::new(seed), whole_head, cut_list);
    // A resolution of less than 1 dpi cannot be told from the header.
    job.dpi_along_milli = job.dpi_along_milli.max(180_000);
    std::fs::write(&stream, PWG.write(&job, &pieces, |lines| (lines, true)).unwrap()).unwrap();
    write_pbm(&pbm, &pages(&job, &pieces, whole_head, cut_list));
    (stream, pbm)
}

#[test]
fn libcupsimage_reads_the_same() {
    for seed in 200..212 {
        let (stream, pbm) = job("libcups-same", seed);
        SCRIPT.agrees(&stream, &pbm);
    }
}

#[test]
fn the_script_notices() {
    let (stream, pbm) = job("libcups-differs", 201);
    SCRIPT.notices_other_pictures(&stream, &pbm, "differ first in line", "as the stream has pages");

    let whole = std::fs::read(&stream).unwrap();
    let refused = |what: &str| SCRIPT.refuses(&stream, &pbm, what);
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
