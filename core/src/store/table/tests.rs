use std::fmt::Write as _;
use std::fs;
use std::io::{self, BufReader, Cursor};
use std::path::PathBuf;

use rust_xlsxwriter::{Format, Formula, Workbook};

use super::*;
use crate::cable::{Column, Diameter, DiameterSource, FieldError, Kinds, Plug, Plugs};
use crate::error::Kind;

fn cases() -> PathBuf {
    PathBuf::from(concat!(env!("CARGO_MANIFEST_DIR"), "/../tests/cases/lists"))
}

/// Everything that is read from a list, as text.
fn described(list: &CableList) -> String {
    let (kinds, plugs) = (Kinds::shipped(), Plugs::shipped());
    let problem = |error: FieldError| format!("problem in {}: {error}", error.field);
    let mut text = format!("headers: {}\n", list.headers().join(" | "));
    for cable in list.iter() {
        let _ = write!(text, "row {}:", cable.row());
        for header in list.headers().iter().filter(|header| !header.is_empty()) {
            let field = cable.field(list.column(header).unwrap());
            if !field.is_empty() {
                let _ = write!(text, " {header}={field:?}");
            }
        }
        text.push('\n');
        match cable.length() {
            Ok(Some(length)) => writeln!(text, "  length {} ({:?})", length.length, length.text).unwrap(),
            Ok(None) => {}
            Err(error) => writeln!(text, "  {}", problem(error)).unwrap(),
        }
        match cable.diameter(&kinds) {
            Ok(Some(Diameter { typical, source: DiameterSource::Measured, .. })) => {
                writeln!(text, "  diameter {typical} measured").unwrap();
            }
            Ok(Some(Diameter { low, typical, high, source: DiameterSource::Kind(name) })) => {
                writeln!(text, "  diameter {low} < {typical} < {high} from {name}").unwrap();
            }
            Ok(None) => {}
            Err(error) => writeln!(text, "  {}", problem(error)).unwrap(),
        }
        match cable.plug(&plugs) {
            Plug::Unsaid => {}
            Plug::Bare => text.push_str("  bare ends\n"),
            Plug::Fitted { name, widest } => writeln!(text, "  plug {name}, {widest}").unwrap(),
            Plug::Unknown(error) => writeln!(text, "  {}", problem(error)).unwrap(),
        }
    }
    for fault in list.faults() {
        let field = fault.field.as_deref().map_or(String::new(), |field| format!(" in {field}"));
        writeln!(text, "fault in row {}{field}: {}", fault.row, fault.text).unwrap();
    }
    text
}

#[test]
fn every_case_reads_as_expected() {
    let mut seen = 0;
    let mut wrong = Vec::new();
    let mut files: Vec<PathBuf> = fs::read_dir(cases()).unwrap().map(|entry| entry.unwrap().path()).collect();
    files.sort();
    for path in files {
        let name = path.file_name().unwrap().to_str().unwrap().to_owned();
        if !["csv", "tsv", "xlsx", "ods"].iter().any(|end| name.ends_with(&format!(".{end}"))) {
            continue;
        }
        seen += 1;
        let bad = name.starts_with("bad-");
        let found = match read_file(&path, &TableOptions::default()) {
            Ok(list) if !bad => described(&list),
            Err(error) if bad => format!("{:?}: {error}\n", error.kind()),
            Ok(_) => panic!("{name} was read; it must be refused"),
            Err(error) => panic!("{name} was refused: {error}"),
        };
        let expected = path.with_file_name(format!("{name}.expected"));
        if std::env::var_os("BLESS").is_some() {
            fs::write(&expected, &found).unwrap();
        }
        if fs::read_to_string(&expected).ok().as_deref() != Some(found.as_str()) {
            wrong.push(format!("{name} is now read as\n{found}"));
        }
    }
    assert!(seen >= 24, "only {seen} cases in {}", cases().display());
    assert!(wrong.is_empty(), "{}\n(BLESS=1 writes what was found; read it)", wrong.join("\n"));
}

#[test]
fn two_writers_of_two_formats_give_the_same_list() {
    let read = |name: &str| described(&read(&cases().join(name), &TableOptions::default()).unwrap());
    assert_eq!(read("store.xlsx"), read("store.ods"));
}

fn text(bytes: &[u8]) -> Result<CableList> {
    text::read(BufReader::with_capacity(7, bytes), 0, None, &BTreeMap::new())
}

fn fields(list: &CableList) -> Vec<Vec<String>> {
    let headers = list.headers().iter().map(|header| list.column(header).unwrap());
    let columns: Vec<_> = headers.collect();
    list.iter().map(|cable| columns.iter().map(|column| cable.field(*column).to_owned()).collect()).collect()
}

#[test]
fn another_reader_of_delimited_text_sees_the_same_fields() {
    // Against the csv crate: random records of well-formed RFC 4180 text, quoted when they must be.
    let alphabet = ["a", "B", "7", ",", "\"", "\n", "\r\n", "é", "′", " x ", ";", "\t", "."];
    let mut seed = 0x9E37_79B9_7F4A_7C15_u64;
    let mut random = |below: usize| {
        seed ^= seed << 13;
        seed ^= seed >> 7;
        seed ^= seed << 17;
        usize::try_from(seed % u64::try_from(below).unwrap()).unwrap()
    };
    for round in 0..300 {
        let mut writer = csv::WriterBuilder::new()
            .quote_style(if round % 2 == 0 { csv::QuoteStyle::Necessary } else { csv::QuoteStyle::Always })
            .terminator(if round % 3 == 0 { csv::Terminator::CRLF } else { csv::Terminator::Any(b'\n') })
            .from_writer(Vec::new());
        writer.write_record(["owner", "batch", "note"]).unwrap();
        for _ in 0..random(6) + 1 {
            let mut record = vec!["TWP".to_owned()];
            for _ in 0..2 {
                record.push((0..random(8)).map(|_| alphabet[random(alphabet.len())]).collect());
            }
            writer.write_record(&record).unwrap();
        }
        let written = writer.into_inner().unwrap();
        let theirs: Vec<Vec<String>> = csv::Reader::from_reader(written.as_slice())
            .records()
            // Our fields are trimmed, and a line end in one is LF.
            .map(|record| record.unwrap().iter().map(|field| field.replace("\r\n", "\n").trim().to_owned()).collect())
            .collect();
        let ours = text(&written).unwrap_or_else(|error| panic!("{error}: {:?}", String::from_utf8_lossy(&written)));
        assert_eq!(fields(&ours), theirs, "{:?}", String::from_utf8_lossy(&written));
        assert_eq!(ours.faults(), []);
    }
}

#[test]
fn rows_are_lines_of_the_file() {
    let list = text(b"owner,note\r\n\r\nTWP,\"two\r\nlines\"\r\nTWP,x\r\n").unwrap();
    assert_eq!(list.iter().map(|cable| cable.row()).collect::<Vec<_>>(), [3, 5]);
    let error = text(b"owner,note\nTWP,a\nTWP,\"b\nTWP,c\n").unwrap_err();
    assert!(error.text().starts_with("row 3: found a quote that is open until the end of the file"), "{error}");
    let error = text::read(&b"owner\nTWP\nTW\xE9\n"[..], 0, None, &BTreeMap::new()).unwrap_err();
    assert!(error.text().starts_with("line 3, byte 3: found a byte 0xE9, wanted UTF-8"), "{error}");
    let error = text::read(&b"owner\xE9\nTWP\n"[..], 3, None, &BTreeMap::new()).unwrap_err();
    assert!(error.text().starts_with("line 1, byte 9:"), "the byte order mark counts: {error}");
}

#[test]
fn the_delimiter_can_be_given() {
    let given = |delimiter| text::read(&b"owner|note\nTWP|a,b\n"[..], 0, Some(delimiter), &BTreeMap::new());
    assert_eq!(fields(&given(b'|').unwrap()), [["TWP", "a,b"]]);
    assert_eq!(
        fields(&text::read(&b"owner note\n\"T W P\" a\n"[..], 0, Some(b' '), &BTreeMap::new()).unwrap()),
        [["T W P", "a"]]
    );
    assert!(given(b'"').unwrap_err().text().contains("found the delimiter 0x22"));
    assert!(given(0xE9).unwrap_err().text().contains("one ASCII character"));
}

/// Counts what is taken from an endless text.
struct Endless<'a> {
    lines: &'a [u8],
    taken: usize,
}

impl io::Read for Endless<'_> {
    fn read(&mut self, into: &mut [u8]) -> io::Result<usize> {
        for byte in into.iter_mut() {
            *byte = self.lines[self.taken.min(self.lines.len() - 1)];
            self.taken += 1;
        }
        Ok(into.len())
    }
}

#[test]
fn endless_files_are_refused_early() {
    for (lines, kind, message) in [
        (&b"owner\nTWP\nx"[..], Kind::Limit, "line 3: found a line of more than 1048576 bytes"),
        (b"owner\nTWP\n\"\n", Kind::Input, "row 3: found a quote that is open until 1 MiB of text"),
        (b"owner\nTWP\n\0", Kind::Input, "line 3, byte 1: found a byte 0x00, wanted text; this is not a text table"),
        (b"\"", Kind::Limit, "line 1: found a line of more than"),
    ] {
        let mut source = BufReader::new(Endless { lines, taken: 0 });
        let error = text::read(&mut source, 0, None, &BTreeMap::new()).unwrap_err();
        assert_eq!(error.kind(), kind, "{error}");
        assert!(error.text().contains(message), "{error}");
        assert!(source.get_ref().taken < 2 * MAX_RECORD_BYTES);
    }
}

#[test]
fn a_gigabyte_of_zeros_is_refused_at_once() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("zeros.csv");
    File::create(&path).unwrap().set_len(1 << 30).unwrap();
    let error = read(&path, &TableOptions::default()).unwrap_err();
    assert_eq!(error.kind(), Kind::Input);
    assert_eq!(
        error.to_string(),
        format!("{}: line 1, byte 1: found a byte 0x00, wanted text; this is not a text table", path.display())
    );
}

#[test]
fn a_million_rows_and_no_more() {
    let mut lines = b"number\n".to_vec();
    lines.extend_from_slice(&b"1\n".repeat(1_000_000));
    assert_eq!(text::read(lines.as_slice(), 0, None, &BTreeMap::new()).unwrap().len(), 1_000_000);
    lines.extend_from_slice(b"1\n");
    let error = text::read(lines.as_slice(), 0, None, &BTreeMap::new()).unwrap_err();
    assert_eq!(error.kind(), Kind::Limit);
    assert_eq!(error.to_string(), "row 1000002: found more than 1000000 rows, wanted at most that; split the list");
}

#[test]
fn what_is_no_file_is_told_apart() {
    let folder = tempfile::tempdir().unwrap();
    let read = |path: &Path| read(path, &TableOptions::default()).unwrap_err();
    let error = read(folder.path());
    assert_eq!(
        (error.kind(), error.text()),
        (Kind::Input, "found a folder, wanted a cable list (CSV, TSV, xlsx or ods)")
    );
    let error = read(&folder.path().join("none.csv"));
    assert_eq!(error.kind(), Kind::Input);
    assert!(error.to_string().contains("none.csv: found no such file"), "{error}");
    // Whoever runs the tests may be allowed everything, so the system's answer is made here.
    let error = not_opened(&io::Error::from(io::ErrorKind::PermissionDenied));
    assert_eq!(error.kind(), Kind::Storage);
    assert!(error.text().contains("may not be read"), "{error}");
    let error = not_read(&io::Error::other("Input/output error"));
    assert_eq!((error.kind(), error.text()), (Kind::Storage, "the file cannot be read: input/output error"));
}

#[test]
fn columns_can_be_remapped() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("list.csv");
    fs::write(&path, "Name,Outside dia\nOTTER,6.15\n").unwrap();
    let columns = [("batch", "name"), ("od_mm", "Outside dia")].map(|(a, b)| (a.to_owned(), b.to_owned()));
    let options = TableOptions { columns: BTreeMap::from(columns), ..Default::default() };
    let list = read(&path, &options).unwrap();
    assert_eq!(list.cable(0).text(Column::Batch), "OTTER");
    assert_eq!(list.cable(0).diameter(&Kinds::new()).unwrap().unwrap().typical.0, 6150);
    let options = TableOptions { sheet: Some("Cables".into()), ..options };
    let error = read(&path, &options).unwrap_err();
    assert!(error.text().starts_with("found a text table, wanted a spreadsheet with the sheet `Cables`"), "{error}");
}

/// A workbook in a file that lives as long as the folder.
fn saved(mut book: Workbook) -> (tempfile::TempDir, PathBuf) {
    let folder = tempfile::tempdir().unwrap();
    // The name says CSV: content comes first.
    let path = folder.path().join("list.csv");
    book.save(&path).unwrap();
    (folder, path)
}

fn sheet(name: &str) -> TableOptions {
    TableOptions { sheet: Some(name.into()), ..Default::default() }
}

#[test]
fn cells_of_a_spreadsheet_become_text() {
    let mut book = Workbook::new();
    let cells = book.add_worksheet();
    let (date, both, clock, hours) = (
        Format::new().set_num_format("yyyy-mm-dd"),
        Format::new().set_num_format("yyyy-mm-dd hh:mm"),
        Format::new().set_num_format("hh:mm"),
        Format::new().set_num_format("[h]:mm:ss"),
    );
    for (column, header) in ["batch", "Number", "od mm", "Colour", "length"].into_iter().enumerate() {
        cells.write(2, u16::try_from(column).unwrap(), header).unwrap();
    }
    cells.write(3, 0, "OTTER").unwrap().write(3, 1, 1040).unwrap().write(3, 2, 6.15).unwrap();
    cells.write(3, 3, true).unwrap().write(3, 4, " 50' ").unwrap();
    // Serial 46082 is 2026-03-01 in the 1900 date system (ECMA-376 part 1, 18.17.4.1; computed by hand:
    // 2026-01-01 is 46023, and 31 + 28 days on).
    cells.write_with_format(5, 3, 46082, &date).unwrap();
    cells.write_with_format(6, 3, 46082.75, &both).unwrap();
    cells.write_with_format(7, 3, 0.5, &clock).unwrap();
    cells.write_with_format(8, 3, 1.25, &hours).unwrap();
    cells.write(9, 2, 0.1 + 0.2).unwrap().write(9, 1, -0.0).unwrap().write(9, 3, 1e15).unwrap();
    cells.write(10, 2, Formula::new("=6/0").set_result("#DIV/0!")).unwrap().write(10, 0, "OTTER").unwrap();
    cells.write(11, 1, Formula::new("=B4+1").set_result("1041")).unwrap();
    cells.write(12, 7, "astray").unwrap();
    let (_folder, path) = saved(book);
    let list = read(&path, &TableOptions::default()).unwrap();
    let rows: Vec<u32> = list.iter().map(|cable| cable.row()).collect();
    assert_eq!(rows, [4, 6, 7, 8, 9, 10, 12]);
    assert_eq!(
        fields(&list),
        [
            ["OTTER", "1040", "6.15", "true", "50'"],
            ["", "", "", "2026-03-01", ""],
            ["", "", "", "2026-03-01T18:00:00", ""],
            ["", "", "", "12:00:00", ""],
            ["", "", "", "30:00:00", ""],
            ["", "0", "0.3", "1000000000000000", ""],
            ["", "1041", "", "", ""],
        ]
    );
    let faults: Vec<_> =
        list.faults().iter().map(|fault| (fault.row, fault.field.as_deref(), fault.text.as_str())).collect();
    assert_eq!(
        faults[0],
        (11, Some("od mm"), "found the spreadsheet error #DIV/0!, wanted a value; repair the formula")
    );
    assert_eq!((faults.len(), faults[1].0, faults[1].1), (2, 13, None));
    assert!(faults[1].2.starts_with("found `astray` in column 8"), "{}", faults[1].2);
}

#[test]
fn the_sheet_is_found_or_named() {
    let mut book = Workbook::new();
    book.add_worksheet().set_name("About").unwrap().write(0, 0, "Tidewater Playhouse").unwrap();
    let old = book.add_worksheet().set_name("Old").unwrap().set_hidden(true);
    old.write(0, 0, "batch").unwrap().write(1, 0, "OLD").unwrap();
    let sound = book.add_worksheet().set_name("Sound").unwrap();
    sound.write(0, 0, "batch").unwrap().write(1, 0, "OTTER").unwrap();
    let empty = book.add_worksheet().set_name("Empty").unwrap();
    empty.write(0, 0, "batch").unwrap();
    book.add_worksheet().set_name("Blank").unwrap();
    let (_folder, path) = saved(book);
    let first = |options: &TableOptions| read(&path, options).map(|list| list.cable(0).text(Column::Batch).to_owned());
    assert_eq!(first(&TableOptions::default()).unwrap(), "OTTER");
    assert_eq!(first(&sheet("old")).unwrap(), "OLD");
    for (name, message) in [
        ("Light", "found no sheet `Light`, wanted one of `About`, `Old`, `Sound`, `Empty`, `Blank`"),
        ("About", "sheet `About`: row 1: found the headers `Tidewater Playhouse`, wanted at least one of owner"),
        ("Empty", "sheet `Empty`: found a header row and no cables"),
        ("Blank", "sheet `Blank`: found an empty sheet"),
    ] {
        let error = first(&sheet(name)).unwrap_err();
        assert!(error.kind() == Kind::Input && error.to_string().contains(message), "{error}");
    }
    let mut book = Workbook::new();
    book.add_worksheet().write(0, 0, "Colour").unwrap();
    book.add_worksheet().write(0, 0, "Weight").unwrap();
    let (_folder, path) = saved(book);
    let error = read(&path, &TableOptions::default()).unwrap_err();
    assert!(error.text().starts_with("found the sheets `Sheet1`, `Sheet2` and none with a header we know"), "{error}");
}

#[test]
fn a_cell_in_the_last_corner_takes_no_memory() {
    let mut book = Workbook::new();
    book.add_worksheet().write(0, 0, "batch").unwrap().write(1, 0, "OTTER").unwrap();
    book.worksheet_from_index(0).unwrap().write(1_048_575, 255, "end").unwrap();
    let (_folder, path) = saved(book);
    let list = read(&path, &TableOptions::default()).unwrap();
    assert_eq!((list.len(), list.faults()[0].row), (1, 1_048_576));
    let mut book = Workbook::new();
    book.add_worksheet().write(0, 0, "batch").unwrap().write(1_048_575, 16_383, "end").unwrap();
    let (_folder, path) = saved(book);
    let error = read(&path, &TableOptions::default()).unwrap_err();
    assert_eq!(error.kind(), Kind::Limit);
    assert!(error.text().contains("row 1048576: found `end` in column 16384, wanted at most 256 columns"), "{error}");
}

fn written(folder: &tempfile::TempDir, bytes: &[u8]) -> Result<CableList> {
    let path = folder.path().join("list.xlsx");
    fs::write(&path, bytes).unwrap();
    read(&path, &TableOptions::default())
}

#[test]
fn archives_that_are_no_spreadsheet_or_too_large() {
    let folder = tempfile::tempdir().unwrap();
    let good = fs::read(cases().join("store.xlsx")).unwrap();
    // The unpacked size of the first entry, in the central directory (offset 24).
    let entry = good.windows(4).position(|bytes| bytes == b"PK\x01\x02").unwrap();
    let mut bomb = good.clone();
    bomb[entry + 24..entry + 28].copy_from_slice(&(600u32 << 20).to_le_bytes());
    let error = written(&folder, &bomb).unwrap_err();
    assert_eq!(error.kind(), Kind::Limit, "{error}");
    assert!(error.text().contains("wanted at most 10000 parts and 536870912 bytes"), "{error}");
    let renamed = |from: &[u8], to: &[u8]| {
        assert_eq!(from.len(), to.len());
        let mut bytes = good.clone();
        for at in 0..bytes.len() - from.len() {
            if bytes[at..].starts_with(from) {
                bytes[at..at + to.len()].copy_from_slice(to);
            }
        }
        written(&folder, &bytes).unwrap_err()
    };
    assert!(renamed(b"xl/workbook.xml", b"xl/workbook.bin").text().starts_with("this is a binary spreadsheet, wanted"));
    assert!(renamed(b"xl/workbook.xml", b"other/thing.xml").text().starts_with("this is a zip archive, wanted"));
    assert!(renamed(b"xl/workbook.xml", b"word/document.x").text().starts_with("this is a text document, wanted"));
    let big = folder.path().join("big.xlsx");
    fs::write(&big, b"PK\x03\x04").unwrap();
    File::options().write(true).open(&big).unwrap().set_len(MAX_FILE_BYTES + 1).unwrap();
    assert_eq!(read(&big, &TableOptions::default()).unwrap_err().kind(), Kind::Limit);
}

#[test]
fn a_damaged_spreadsheet_is_an_error_and_never_a_panic() {
    let folder = tempfile::tempdir().unwrap();
    for name in ["store.xlsx", "store.ods"] {
        let good = fs::read(cases().join(name)).unwrap();
        for length in (4..good.len()).step_by(97) {
            let error = written(&folder, &good[..length]).unwrap_err();
            assert_eq!(error.kind(), Kind::Input, "{name} cut at {length}: {error}");
        }
        for at in (4..good.len()).step_by(41) {
            let mut bytes = good.clone();
            bytes[at] ^= 0x55;
            // Some bytes mean nothing, so both outcomes are right; what is read must still be sound.
            if let Ok(list) = written(&folder, &bytes) {
                assert!(!list.is_empty() || !list.faults().is_empty(), "{name} damaged at {at}");
            }
        }
    }
}

#[test]
fn damaged_text_never_panics() {
    let good = fs::read(cases().join("quotes.csv")).unwrap();
    for at in 0..good.len() {
        for byte in [b'"', b',', b'\n', b'\r', 0, 0xC3, b' '] {
            let mut bytes = good.clone();
            bytes[at] = byte;
            if let Ok(list) = text::read(Cursor::new(bytes), 0, None, &BTreeMap::new()) {
                assert!(!list.is_empty() || !list.faults().is_empty());
            }
        }
    }
}
