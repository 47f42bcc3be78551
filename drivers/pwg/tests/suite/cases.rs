//! Golden streams: `tests/cases/pwg/*.case` at the root of the project.
//!
//! In the stream, header words that are 0 are left out; all others stand behind their offset in
//! the header. So the text says every byte.

use std::fmt::Write;

use tapewright_driver_tests::hex;

use crate::support::PWG;

const HEADER: usize = 1796;

#[test]
fn cases() {
    tapewright_driver_tests::cases("pwg", |case| {
        let result = PWG.write(&case.job, &case.pieces, |lines| (lines, true));
        result.map(|stream| dump(&stream)).map_err(|error| case.refusal(&error))
    });
}

/// Names of header fields by offset.
fn field(at: usize) -> &'static str {
    match at {
        0..64 => "PwgRaster",
        128..192 => "MediaType",
        268 => "CutMedia",
        276 => "HWResolution across",
        280 => "HWResolution along",
        308 => "LeadingEdge",
        340 => "NumCopies",
        352 => "PageSize across, points",
        356 => "PageSize along, points",
        372 => "Width",
        376 => "Height",
        384 => "BitsPerColor",
        388 => "BitsPerPixel",
        392 => "BytesPerLine",
        400 => "ColorSpace",
        420 => "NumColors",
        452 => "TotalPageCount",
        456 => "CrossFeedTransform",
        460 => "FeedTransform",
        472 => "ImageBoxRight",
        476 => "ImageBoxBottom",
        484 => "PrintQuality",
        512 => "VendorLength",
        516..1604 => "VendorData",
        1732.. => "PageSizeName",
        _ => "unknown",
    }
}

/// The stream as text, walked without the module's own reader.
fn dump(stream: &[u8]) -> String {
    let mut text = format!("{}  # sync\n", hex(&stream[..4]));
    let mut at = 4;
    while at < stream.len() {
        let header = &stream[at..at + HEADER];
        text.push_str("page header\n");
        let mut word = 0;
        while word < HEADER {
            // Fields of several words stand in one line.
            let start = word;
            let is_long = matches!(field(word), "PwgRaster" | "MediaType" | "VendorData" | "PageSizeName");
            word += 4;
            while is_long && word < HEADER && field(word) == field(start) && header[word..word + 4] != [0; 4] {
                word += 4;
            }
            let bytes = &header[start..word];
            if bytes.iter().all(|byte| *byte == 0) {
                continue;
            }
            _ = write!(text, "{start}: {}  # {}", hex(bytes), field(start));
            if let [a, b, c, d] = bytes
                && !is_long
            {
                _ = write!(text, " {}", u32::from_be_bytes([*a, *b, *c, *d]));
            }
            text.push('\n');
        }
        let number = |at: usize| u32::from_be_bytes(header[at..at + 4].try_into().unwrap()) as usize;
        let (height, line_bytes) = (number(376), number(392));
        at += HEADER;
        let mut line = 0;
        while line < height {
            let start = at;
            let lines = usize::from(stream[at]) + 1;
            at += 1;
            let mut left = line_bytes;
            while left > 0 {
                let code = usize::from(stream[at]);
                let (covered, taken) = if code < 128 { (code + 1, 1) } else { (257 - code, 257 - code) };
                left = left.checked_sub(covered).expect("a line longer than BytesPerLine");
                at += 1 + taken;
            }
            _ = writeln!(text, "{}  # lines {line} to {}", hex(&stream[start..at]), line + lines - 1);
            line += lines;
        }
        assert_eq!(line, height, "groups longer than the page");
    }
    text
}
