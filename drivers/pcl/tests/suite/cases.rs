//! Golden streams: `tests/cases/pcl/*.case` at the root of the project.
//!
//! In the stream, each line is a command in hex, with the bytes of its row, and what it says.

use std::fmt::Write;

use tapewright_driver_tests::hex;

use crate::support::PCL;

#[test]
fn cases() {
    tapewright_driver_tests::cases("pcl", |case| {
        let result = PCL.write(&case.job, &case.pieces, |lines| (lines, true));
        result.map(|stream| dump(&stream)).map_err(|error| case.refusal(&error))
    });
}

/// What a command says, by its group and letter.
fn meaning(group: &str, letter: char) -> &'static str {
    match (group, letter) {
        ("%", 'X') => "leave the language",
        ("&l", 'O') => "orientation",
        ("&l", 'C') => "line spacing, 1/48 inch",
        ("&l", 'P') => "page length, lines of text",
        ("&l", 'L') => "skip the perforation",
        ("&l", 'E') => "top margin",
        ("*t", 'R') => "resolution",
        ("*p", 'X') => "cursor across",
        ("*p", 'Y') => "cursor along",
        ("*r", 'S') => "raster width",
        ("*r", 'T') => "raster height",
        ("*r", 'A') => "start of raster",
        ("*r", 'B') => "end of raster",
        ("*b", 'Y') => "skip rows",
        ("*b", 'M') => "compression",
        ("*b", 'W') => "row",
        _ => panic!("no command {group}{letter}"),
    }
}

/// The stream as text, walked without the module's own reader.
fn dump(stream: &[u8]) -> String {
    let mut text = String::new();
    let mut at = 0;
    while at < stream.len() {
        let start = at;
        match &stream[at..] {
            [0x0C, ..] => {
                at += 1;
                text.push_str("0C  # form feed\n");
                continue;
            }
            [0x1B, b'E', ..] => {
                at += 2;
                text.push_str("1B 45  # ESC E: reset\n");
                continue;
            }
            [0x1B, ..] => at += 1,
            other => panic!("{} between commands", other[0].escape_ascii()),
        }
        let group_end = at + if stream[at] == b'%' { 1 } else { 2 };
        let group = std::str::from_utf8(&stream[at..group_end]).unwrap();
        at = group_end;
        let mut begin = start;
        loop {
            let end = at + stream[at..].iter().position(u8::is_ascii_alphabetic).expect("a letter");
            let value = std::str::from_utf8(&stream[at..end]).unwrap();
            let letter = char::from(stream[end]);
            at = end + 1;
            let data = match (group, letter.to_ascii_uppercase()) {
                ("*b", 'W') => value.parse().unwrap(),
                _ => 0,
            };
            let command = hex(&stream[begin..at]);
            _ = write!(text, "{command}");
            if data > 0 {
                _ = write!(text, " | {}", hex(&stream[at..at + data]));
            }
            at += data;
            let escape = if begin == start { "ESC" } else { "" };
            let group_text = if begin == start { group } else { "" };
            _ = writeln!(
                text,
                "  # {escape}{group_text}{value}{letter}: {}",
                meaning(group, letter.to_ascii_uppercase())
            );
            begin = at;
            if letter.is_ascii_uppercase() {
                break;
            }
        }
    }
    text
}
