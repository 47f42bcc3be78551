//! Wrong files and full disks: the right exit code, a message that names the place, nothing left behind.

use crate::program::{self, Ran, files, folder, needs_modules, run};
use std::fs::File;
use std::path::Path;

const LIST: &str = "owner,batch,number,length,od\nTWP,OTTER,1040,50 ft,6.15 mm\nTWP,OTTER,1041,50 ft,6.15 mm\n";

fn write(folder: &Path, name: &str, bytes: impl AsRef<[u8]>) {
    std::fs::write(folder.join(name), bytes).unwrap_or_else(|error| panic!("{name}: {error}"));
}

/// A file of zeros, so long that reading it whole would be felt; it takes no room on the disk.
fn zeros(folder: &Path, name: &str) {
    let file = File::create(folder.join(name)).expect("a file can be made");
    file.set_len(1 << 30).expect("the file system holds sparse files");
}

/// Every command that makes files, on an input that is wrong: exit code 2, a message with these
/// words in it, no answer, and no new file.
#[track_caller]
fn refused(folder: &Path, input: &str, more: &[&str], words: &[&str]) {
    let before = files(folder);
    for command in
        [&["estimate", input][..], &["print", input, "--to", "file:out.pwg"], &["proof", input, "--out", "proof"]]
    {
        let ran = run(folder, command.iter().chain(more)).ended(2);
        assert!(ran.out.is_empty(), "{}: an answer besides an error: {}", ran.what, ran.text());
        for word in words {
            assert!(ran.err.contains(word), "{}: found {:?}, wanted `{word}` in it", ran.what, ran.err);
        }
        assert_eq!(files(folder), before, "{}: files before and after", ran.what);
    }
}

/// A zip archive without compression (PKWARE APPNOTE 6.3.9, 4.3.7, 4.3.12, 4.3.16; from memory).
fn zip(name: &str, content: &[u8]) -> Vec<u8> {
    let crc = !content.iter().fold(!0_u32, |crc, &byte| {
        (0..8).fold(crc ^ u32::from(byte), |crc, _| if crc & 1 == 1 { crc >> 1 ^ 0xEDB8_8320 } else { crc >> 1 })
    });
    let size = u32::try_from(content.len()).expect("a small file").to_le_bytes();
    let length = u16::try_from(name.len()).expect("a short name").to_le_bytes();
    let common = [&[0, 0, 0, 0, 0, 0, 0, 0][..], &crc.to_le_bytes(), &size, &size, &length, &[0, 0]].concat();
    let local = [b"PK\x03\x04\x14\0", &common[..], name.as_bytes(), content].concat();
    let directory = [b"PK\x01\x02\x14\0\x14\0", &common[..], &[0; 14], name.as_bytes()].concat();
    let [at, long] = [local.len(), directory.len()].map(|n| u32::try_from(n).expect("a small file").to_le_bytes());
    [&local[..], &directory, b"PK\x05\x06\0\0\0\0\x01\0\x01\0", &long, &at, &[0, 0]].concat()
}

#[test]
fn files_that_are_no_cable_list() {
    needs_modules();
    let folder = folder();
    let path = folder.path();
    let png = [b"\x89PNG\r\n\x1a\n".as_slice(), &[0; 60]].concat();
    let utf_16: Vec<u8> = [0xFF, 0xFE].into_iter().chain(LIST.encode_utf16().flat_map(u16::to_le_bytes)).collect();
    let bytes: [(&str, &[u8], &str); 12] = [
        ("picture.csv", &png, "picture (PNG)"),
        ("picture.xlsx", &png, "picture (PNG)"),
        ("paper.csv", b"%PDF-1.7\n%....\n1 0 obj\n", "a PDF"),
        ("letters.zip", &zip("letter.txt", b"dear Playhouse"), "letters.zip"),
        ("letters.xlsx", &zip("letter.txt", b"dear Playhouse"), "letters.xlsx"),
        ("cut.xlsx", b"PK\x03\x04\x14\0\0\0", "cut.xlsx"),
        ("empty.csv", b"", "empty file"),
        ("header.csv", b"owner,batch,number,od\n", "no cables"),
        ("latin.csv", b"batch,number,od\nB\xFChne,1,6 mm\n", "UTF-8"),
        ("wide.csv", &utf_16, "UTF-16"),
        ("prose.csv", b"To whom it may concern,\nthe cables are in the cellar.\n", "prose.csv"),
        ("control.csv", b"batch,number\nOTTER,\0\n", "line 2"),
    ];
    for (name, content, words) in bytes {
        write(path, name, content);
        refused(path, name, &[], &[name, words]);
    }
    zeros(path, "zeros.csv");
    refused(path, "zeros.csv", &[], &["zeros.csv", "line 1"]);
    std::fs::create_dir(path.join("store")).expect("a folder");
    refused(path, "store", &[], &["store", "folder"]);
    refused(path, "missing.csv", &[], &["missing.csv", "no such file"]);
    refused(path, "header.csv/list.csv", &[], &["list.csv"]);
}

#[test]
fn lists_and_flags_that_do_not_go_together() {
    needs_modules();
    let folder = folder();
    let path = folder.path();
    write(path, "cables.csv", LIST);
    for (flags, words) in [
        (&["--text", "{shelf}"][..], &["{shelf}", "batch"][..]),
        (&["--text", "{batch"], &["{batch", "lone"]),
        (&["--text", "{note}"], &["{note}", "columns"]),
        (&["--stock", "tape-13"], &["tape-13", "tape-12"]),
        (&["--stock", "wrap-64"], &["wrap-64", "63.5 mm", "24 mm"]),
        (&["--printer", "garage"], &["garage", "bench-180"]),
        (&["--build", "ring"], &["ring", "flag"]),
        (&["--ends", "left"], &["left", "both"]),
        (&["--between", "tear"], &["tear", "half"]),
        (&["--reading-mm", "5"], &["reading", "5", "100"]),
        (&["--reading-mm", "far"], &["far"]),
        (&["--sheet", "Audio"], &["Audio", "cables.csv"]),
        (&["--column", "od_mm"], &["od_mm", "OURS=THEIRS"]),
        (&["--column", "od_mm=Gauge"], &["Gauge", "cables.csv"]),
        (&["--colour", "red"], &["--colour"]),
    ] {
        refused(path, "cables.csv", flags, words);
    }
}

/// One bad cell costs one cable: the rest goes on, and the message names row and field. Where all
/// are bad, nothing is made.
#[test]
fn a_bad_number_names_its_row_and_field() {
    needs_modules();
    let folder = folder();
    let path = folder.path();
    for (name, bad, row, field) in
        [("od.csv", "TWP,OTTER,1041,50 ft,thick", 3, "od"), ("length.csv", "TWP,OTTER,1041,long,6 mm", 3, "length")]
    {
        write(path, name, format!("owner,batch,number,length,od\nTWP,OTTER,1040,50 ft,6.15 mm\n{bad}\n"));
        let ran = run(path, ["estimate", name, "--json"]).ended(0);
        let problems = ran.json()["problems"].clone();
        assert_eq!(problems.as_array().map(Vec::len), Some(1), "{problems}");
        assert_eq!(
            (problems[0]["row"].as_u64(), problems[0]["field"].as_str()),
            (Some(row), Some(field)),
            "{problems}"
        );
        let ran = run(path, ["print", name, "--to", "file:out.pwg"]).ended(0);
        assert!(ran.err.contains(&format!("row {row}, {field}: ")), "{}", ran.err);
        std::fs::remove_file(path.join("out.pwg")).expect("the good cable was printed");
        write(path, name, format!("owner,batch,number,length,od\n{bad}\n"));
        let before = files(path);
        for command in [&["print", name, "--to", "file:out.pwg"][..], &["proof", name, "--out", "proof"]] {
            let ran = run(path, command).ended(2);
            assert!(ran.err.contains(&format!("row 2, {field}: ")) && ran.err.contains("no label"), "{}", ran.err);
            assert_eq!(files(path), before, "{}", ran.what);
        }
    }
}

/// Where no label can be made, the estimate still answers why, and all else makes nothing.
#[test]
fn a_job_without_any_label() {
    needs_modules();
    let folder = folder();
    let path = folder.path();
    write(path, "cables.csv", LIST);
    let before = files(path);
    let ran = run(path, ["estimate", "cables.csv", "--build", "wrap", "--json"]).ended(2);
    let answer = ran.json();
    assert_eq!(
        (answer["labels"].as_u64(), answer["problems"].as_array().map(Vec::len)),
        (Some(0), Some(2)),
        "{answer}"
    );
    for command in [
        &["print", "cables.csv", "--build", "wrap", "--to", "file:out.pwg"][..],
        &["proof", "cables.csv", "--build", "wrap"],
    ] {
        let ran = run(path, command).ended(2);
        assert!(
            ran.out.is_empty() && ran.err.contains("no label can be made") && ran.err.contains("row 2"),
            "{}",
            ran.err
        );
    }
    assert_eq!(files(path), before);
}

#[test]
fn job_files_that_are_wrong() {
    needs_modules();
    let folder = folder();
    let path = folder.path();
    write(path, "cables.csv", LIST);
    write(
        path,
        "stocks.toml",
        "[[stock]]\nid = 'x'\ntitle = 'x'\nkind = 'rope'\nzone_mm = 9\nlength_m = 8\ncutting = 'half'\n",
    );
    write(path, "printers.toml", "[[printer]]\nid = 'x'\ncolour = 'red'\n");
    for (job, words) in [
        ("list = 'cables.csv'\nbuild = \n", &["line 2"][..]),
        ("list = 'cables.csv'\ncolour = 'red'\n", &["line 2", "colour"]),
        ("list = 'cables.csv'\n[design]\nfont = 'x'\n", &["line 3", "font"]),
        ("list = 'cables.csv'\nbuild = 'ring'\n", &["build", "ring", "flag, wrap, band, sleeve, plate or auto"]),
        ("list = 'cables.csv'\nends = 'left'\n", &["ends", "left", "both, near or far"]),
        ("list = 'cables.csv'\nbetween = 'tear'\n", &["between", "tear", "half, full or snip"]),
        ("list = 'cables.csv'\nstock = 'tape-13'\n", &["tape-13", "tape-12"]),
        ("list = 'cables.csv'\nprinter = 'garage'\n", &["garage", "bench-180"]),
        ("list = 'cables.csv'\nstock = 12\n", &["line 2", "stock"]),
        ("list = 'cables.csv'\n[design]\nreading_mm = 5\n", &["reading_mm", "5", "100 to 20000"]),
        ("build = 'flag'\n", &["list"]),
        ("list = 'missing.csv'\n", &["missing.csv"]),
        ("list = 'cables.csv'\nstock_files = ['stocks.toml']\n", &["stocks.toml", "rope", "tape, wrap or sleeve"]),
        ("list = 'cables.csv'\nprinter_files = ['printers.toml']\n", &["printers.toml", "line 3", "colour"]),
        ("list = 'cables.csv'\nstock_files = ['none.toml']\n", &["none.toml", "no such file"]),
        ("list = 'cables.csv'\n[columns]\nod_mm = 'Gauge'\n", &["Gauge"]),
    ] {
        write(path, "job.toml", job);
        let place = if words.contains(&"missing.csv") { "missing.csv" } else { "job.toml" };
        refused(path, "job.toml", &[], &[&[place], words].concat());
    }
    write(path, "job.toml", b"list = 'B\xFChne.csv'\n");
    refused(path, "job.toml", &[], &["job.toml", "line 1", "UTF-8"]);
    zeros(path, "zeros.toml");
    refused(path, "zeros.toml", &[], &["zeros.toml", "4 MiB"]);
    refused(path, "missing.toml", &[], &["missing.toml", "no such file"]);
    std::fs::create_dir(path.join("folder.toml")).expect("a folder");
    refused(path, "folder.toml", &[], &["folder.toml", "folder"]);
}

#[test]
fn streams_that_are_wrong() {
    needs_modules();
    let folder = folder();
    let path = folder.path();
    write(path, "cables.csv", LIST);
    run(path, ["print", "cables.csv", "--to", "file:good.pwg"]).ended(0);
    let good = std::fs::read(path.join("good.pwg")).expect("the stream");
    write(path, "short.pwg", &good[..good.len() - 1]);
    write(path, "head.pwg", &good[..900]);
    write(path, "sync.pwg", &good[..4]);
    write(path, "more.pwg", [&good[..], b"x"].concat());
    write(path, "empty.pwg", b"");
    zeros(path, "zeros.pwg");
    std::fs::create_dir(path.join("folder.pwg")).expect("a folder");
    let before = files(path);
    for (name, words) in [
        ("short.pwg", "short.pwg"),
        ("head.pwg", "head.pwg"),
        ("sync.pwg", "sync.pwg"),
        ("more.pwg", "more.pwg"),
        ("empty.pwg", "empty"),
        ("zeros.pwg", "no driver module knows"),
        ("cables.csv", "no driver module knows"),
        ("folder.pwg", "folder"),
        ("missing.pwg", "no such file"),
    ] {
        let ran = run(path, ["readback", name, "--json"]).ended(2);
        assert!(ran.out.is_empty() && ran.err.contains(name) && ran.err.contains(words), "{}: {}", ran.what, ran.err);
        assert_eq!(files(path), before, "{}", ran.what);
        let ran = run(path, ["readback", name, "--pbm", "lines"]).ended(2);
        let parts: Vec<String> = files(path).into_iter().filter(|name| name.ends_with(".part")).collect();
        assert!(parts.is_empty(), "{}: left {parts:?}", ran.what);
        let _ = std::fs::remove_dir_all(path.join("lines"));
    }
    for (dpi, code) in [("0", 2), ("wide", 2), ("nan", 2), ("-180", 2), ("203.2", 0)] {
        run(path, ["readback", "good.pwg", &format!("--dpi={dpi}")]).ended(code);
    }
    let ran = run(path, ["readback", "good.pwg", "--driver", "abacus"]).ended(2);
    assert!(ran.err.contains("abacus"), "{}", ran.err);
}

/// Runs the program where no file may grow beyond a block of the shell: a disk that is full.
#[cfg(unix)]
fn on_a_full_disk(folder: &Path, arguments: &[&str]) -> Ran {
    // Ignored, the signal becomes an error of the write (POSIX.1-2017, setrlimit, RLIMIT_FSIZE).
    let mut command = std::process::Command::new("sh");
    program::apart(&mut command, folder);
    command.args(["-c", "trap '' XFSZ && ulimit -f 1 && exec \"$@\"", "sh"]).arg(program::path()).args(arguments);
    let output = command.output().expect("a shell starts");
    Ran::new(&command, output)
}

#[cfg(unix)]
#[test]
fn a_full_disk_is_exit_code_6_and_leaves_the_old_file() {
    needs_modules();
    let folder = folder();
    let path = folder.path();
    write(path, "cables.csv", LIST);
    write(path, "out.pwg", "the stream of yesterday");
    let before = files(path);
    // The limit bites, and only above a block: a small answer still goes out.
    on_a_full_disk(path, &["stock"]).ended(0);
    let ran = on_a_full_disk(path, &["print", "cables.csv", "--to", "file:out.pwg"]).ended(6);
    assert!(ran.err.contains("out.pwg"), "{}", ran.err);
    assert!(ran.out.is_empty(), "{}", ran.text());
    assert_eq!(files(path), before, "files before and after");
    assert_eq!(std::fs::read(path.join("out.pwg")).expect("the old file"), b"the stream of yesterday");
    let ran = on_a_full_disk(path, &["proof", "cables.csv", "--out", "proof"]).ended(6);
    assert!(ran.err.contains("proof"), "{}", ran.err);
    assert_eq!(files(&path.join("proof")), Vec::<String>::new(), "no picture is left, whole or in part");
    let ran = on_a_full_disk(path, &["demo", "--out", "demo"]).ended(6);
    let halves: Vec<String> = files(path).into_iter().filter(|name| name.ends_with(".part")).collect();
    assert!(halves.is_empty(), "{}: left {halves:?}", ran.what);
}

#[cfg(target_os = "linux")]
#[test]
fn a_standard_output_that_is_full_is_exit_code_6() {
    needs_modules();
    let folder = folder();
    let path = folder.path();
    write(path, "cables.csv", LIST);
    for arguments in [&["estimate", "cables.csv"][..], &["print", "cables.csv", "--to", "-"], &["stock", "--json"]] {
        let mut command = program::command(path);
        let full = File::options().write(true).open("/dev/full").expect("/dev/full can be opened");
        let output = command.args(arguments).stdout(full).output().expect("the program starts");
        let ran = Ran::new(&command, output).ended(6);
        assert!(ran.err.contains("standard output"), "{}: {}", ran.what, ran.err);
    }
}

#[test]
fn places_that_cannot_be_written_are_exit_code_6() {
    needs_modules();
    let folder = folder();
    let path = folder.path();
    write(path, "cables.csv", LIST);
    write(path, "in the way", "a file");
    std::fs::create_dir(path.join("taken.pwg")).expect("a folder");
    let before = files(path);
    for (arguments, names) in [
        (&["print", "cables.csv", "--to", "file:in the way/out.pwg"][..], "in the way"),
        (&["print", "cables.csv", "--to", "file:no/such/folder/out.pwg"], "no/such/folder/out.pwg"),
        (&["print", "cables.csv", "--to", "file:taken.pwg"], "taken.pwg"),
        (&["proof", "cables.csv", "--out", "in the way"], "in the way"),
        (&["proof", "cables.csv", "--out", "in the way/proof"], "in the way/proof"),
        (&["demo", "--out", "in the way/demo"], "in the way/demo"),
    ] {
        let ran = run(path, arguments).ended(6);
        assert!(ran.out.is_empty() && ran.err.contains(names), "{}: {}", ran.what, ran.err);
        assert_eq!(files(path), before, "{}", ran.what);
    }
    assert_eq!(std::fs::read(path.join("in the way")).expect("the file"), b"a file");
}

/// What `print` will refuse is said before: a driver that carries no half cuts, asked for half cuts.
#[test]
fn half_cuts_that_a_driver_does_not_carry_are_told_at_the_estimate() {
    needs_modules();
    let folder = folder();
    let path = folder.path();
    write(path, "cables.csv", LIST);
    let printers = crate::jobs::OWN_PRINTERS.replace("driver = \"pwg\"", "driver = \"pcl\"");
    let printers = printers.replace("dpi_across = 180\ndpi_along = 180", "dpi_across = 300\ndpi_along = 300");
    write(path, "printers.toml", printers);
    let head = "list = 'cables.csv'\nprinter_files = ['printers.toml']\nprinter = 'narrow'\n";
    write(path, "half.toml", head);
    write(path, "full.toml", format!("{head}between = 'full'\n"));
    let half = run(path, ["estimate", "half.toml"]).ended(0);
    assert!(half.err.contains("driver `pcl` of printer `narrow` carries no half cuts"), "{}", half.err);
    run(path, ["print", "half.toml", "--to", "file:out.pcl"]).ended(2);
    let full = run(path, ["estimate", "full.toml"]).ended(0);
    assert!(!full.err.contains("half cuts"), "{}", full.err);
    run(path, ["print", "full.toml", "--to", "file:out.pcl"]).ended(0);
}

/// What a row says of its cable goes before a flag, and a font nobody named stops no job; both are said.
#[test]
fn what_is_not_taken_as_asked_is_said() {
    let folder = folder();
    let path = folder.path();
    write(
        path,
        "cables.csv",
        format!("{}TWP,OTTER,1042,50 ft,6.15 mm,plate\n", LIST.replace('\n', ",\n").replacen("od,", "od,build", 1)),
    );
    std::fs::create_dir_all(path.join("no settings here/fonts")).expect("a folder can be made");
    write(path, "no settings here/fonts/torn.ttf", "not a font at all");
    let ran = run(path, ["estimate", "cables.csv", "--stock", "tape-12", "--build", "flag"]).ended(0);
    for wanted in [
        "note: 1 row of the list has another `build` than --build and keeps it: --build is for the rest",
        "note: a font in your settings folder is left out: ",
        "torn.ttf: found no font",
    ] {
        assert!(ran.err.contains(wanted), "{}", ran.err);
    }
    assert!(ran.text().contains("6 labels"), "{}", ran.text());
    let ran = run(path, ["estimate", "cables.csv", "--stock", "tape-12", "--build", "plate"]).ended(0);
    assert!(ran.err.contains("left out: ") && !ran.err.contains("another `build`"), "{}", ran.err);
}

/// Labels of two cables that say the same are told, once; those of one cable say the same as they should.
#[test]
fn labels_that_do_not_name_their_cable_are_told() {
    let folder = folder();
    let path = folder.path();
    write(path, "cables.csv", LIST);
    let estimate = |text: &str| {
        let job = ["estimate", "cables.csv", "--stock", "tape-12", "--build", "flag", "--text", text];
        run(path, job).ended(0).err
    };
    let told = estimate("{owner} {batch}");
    assert!(
        told.contains("note: 2 labels say the same as one of another cable: `TWP OTTER` is on OTTER 1040 near and on OTTER 1041 near"),
        "{told}"
    );
    assert!(!estimate("{batch} {number}").contains("say the same"));
}
