//! Print is read by a machine, and compared with FreeType's renderings of the same font.

use crate::python;
use crate::specimen::{Cell, identifiers, write};
use std::path::Path;
use tapewright::font::Style;

fn pages(folder: &Path, cells: &[(u32, u32)]) {
    let cell = |&(dpi, hundredths)| Cell { dpi: [dpi, dpi], hundredths, style: Style::Normal };
    write(folder, &cells.iter().map(cell).collect::<Vec<_>>(), &identifiers(200, 301));
}

/// Capitals of 11, 16, 21 and 28 dots. Not worse than the better of FreeType's two ways at any, and better
/// in sum, both by their intervals. The full table is `cargo bench -p tapewright --bench text`.
#[test]
fn identifiers_are_read_better_than_as_freetype_renders_them() {
    let folder = tempfile::tempdir().expect("a folder for the pages");
    pages(folder.path(), &[(180, 150), (203, 200), (180, 300), (180, 400)]);
    println!("{}", python::check("text_ocr.py", [folder.path()]));
}

/// The comparison can fail: pages of other texts are read worse than FreeType's of these.
#[test]
fn a_page_of_wrong_texts_is_said_to_be_read_worse() {
    let folder = tempfile::tempdir().expect("a folder for the pages");
    let cell = Cell { dpi: [180, 180], hundredths: 300, style: Style::Normal };
    write(folder.path(), &[cell], &identifiers(10, 301));
    let others: String = identifiers(10, 302).iter().map(|text| format!("{text}\n")).collect();
    std::fs::write(folder.path().join("texts.txt"), others).expect("texts.txt can be written");
    python::refuses("text_ocr.py", [folder.path()], "read worse than the better of FreeType's");
}
