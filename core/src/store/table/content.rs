//! What a file is, from its first bytes.

use crate::error::{Error, Result};

/// How many bytes are looked at.
pub(super) const HEAD_BYTES: u64 = 8192;

/// What can be read.
#[derive(Debug, PartialEq, Eq)]
pub(super) enum Content {
    /// Delimited text, after so many bytes of byte order mark.
    Text { skip: u64 },
    /// A zip archive: a spreadsheet, probably.
    Zip,
}

/// First bytes of what people give instead of a table. From memory of the formats' own documents,
/// where each states its signature.
const OTHERS: [(&[u8], &str); 17] = [
    (b"\xD0\xCF\x11\xE0\xA1\xB1\x1A\xE1", "an old binary spreadsheet, or one with a password"),
    (b"%PDF", "a PDF"),
    (b"\x89PNG", "a picture (PNG)"),
    (b"\xFF\xD8\xFF", "a picture (JPEG)"),
    (b"GIF8", "a picture (GIF)"),
    (b"II*\0", "a picture (TIFF)"),
    (b"MM\0*", "a picture (TIFF)"),
    (b"\x1F\x8B", "a gzip archive"),
    (b"BZh", "a bzip2 archive"),
    (b"\xFD7zXZ\0", "an xz archive"),
    (b"7z\xBC\xAF\x27\x1C", "a 7z archive"),
    (b"\x28\xB5\x2F\xFD", "a zstandard archive"),
    (b"{\\rtf", "a rich text document"),
    (b"<!DOCTYPE", "a web page"),
    (b"<!doctype", "a web page"),
    (b"<html", "a web page"),
    (b"<?xml", "an XML document"),
];

const WANTED: &str = "wanted a cable list (CSV, TSV, xlsx or ods)";

/// Decides by the first bytes of a file.
///
/// # Errors
/// `Input`: empty, UTF-16, or something else that is known or cannot be text.
pub(super) fn of(head: &[u8]) -> Result<Content> {
    if head.starts_with(b"PK\x03\x04") || head.starts_with(b"PK\x05\x06") {
        return Ok(Content::Zip);
    }
    let text = head.strip_prefix(b"\xEF\xBB\xBF").unwrap_or(head);
    if text.is_empty() {
        return Err(Error::input(format!("found an empty file, {WANTED}")));
    }
    if let Some((_, what)) = OTHERS.iter().find(|(start, _)| text.starts_with(start)) {
        return Err(Error::input(format!(
            "this is {what}, {WANTED}; open it in its program and save it as one of these"
        )));
    }
    if head.starts_with(b"\xFF\xFE") || head.starts_with(b"\xFE\xFF") {
        return Err(Error::input(format!(
            "found UTF-16 text (line 1, byte 1: 0x{:02X}), wanted UTF-8; save it as CSV UTF-8",
            head[0]
        )));
    }
    Ok(Content::Text { skip: u64::try_from(head.len() - text.len()).unwrap_or(0) })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn tables_are_told_from_what_is_none() {
        assert_eq!(of(b"owner,batch\n").unwrap(), Content::Text { skip: 0 });
        assert_eq!(of(b"\xEF\xBB\xBFowner\n").unwrap(), Content::Text { skip: 3 });
        assert_eq!(of(b"PK\x03\x04rest").unwrap(), Content::Zip);
        for (head, message) in [
            (&b""[..], "found an empty file, wanted a cable list (CSV, TSV, xlsx or ods)"),
            (b"\xEF\xBB\xBF", "found an empty file"),
            (b"%PDF-1.7", "this is a PDF, wanted a cable list"),
            (
                b"\xD0\xCF\x11\xE0\xA1\xB1\x1A\xE1\0",
                "this is an old binary spreadsheet, or one with a password, wanted",
            ),
            (b"\x89PNG\r\n", "this is a picture (PNG)"),
            (b"\x1F\x8B\x08", "this is a gzip archive"),
            (b"\xFF\xFEo\0", "found UTF-16 text (line 1, byte 1: 0xFF), wanted UTF-8; save it as CSV UTF-8"),
            (b"\xFE\xFF\0o", "byte 1: 0xFE"),
        ] {
            let error = of(head).unwrap_err();
            assert!(error.to_string().contains(message), "{error} does not say {message:?}");
        }
    }
}
