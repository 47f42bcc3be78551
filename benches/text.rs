//! How well print is read: the full table of wrong characters, and a sheet to look at.
//!
//! `cargo bench -p tapewright --bench text` reads 300 identifiers in every cell, ours and FreeType's;
//! `-- --contact FILE.png` draws the sheet. Needs what `tests/run` installs.

#[path = "../tests/suite/pbm.rs"]
#[allow(dead_code, reason = "the suite uses more of it")]
mod pbm;
#[path = "../tests/suite/python.rs"]
#[allow(dead_code, reason = "the suite uses more of it")]
mod python;
#[path = "../tests/suite/sources.rs"]
#[allow(dead_code, reason = "the suite uses more of it")]
mod sources;
#[path = "../tests/suite/specimen.rs"]
mod specimen;

use specimen::{Cell, all_cells, identifiers, write};
use tapewright::font::Style;

fn main() {
    let arguments: Vec<String> = std::env::args().skip(1).filter(|argument| argument != "--bench").collect();
    let folder = tempfile::tempdir().expect("a folder for the pages");
    let at = folder.path().as_os_str().to_owned();
    match arguments.iter().map(String::as_str).collect::<Vec<_>>().as_slice() {
        ["--contact", file] => {
            let cell = |dpi, hundredths| Cell { dpi: [dpi, dpi], hundredths, style: Style::Normal };
            let cells = [(180, 100), (180, 150), (180, 200), (203, 200), (180, 250), (300, 200), (360, 200)];
            let texts = ["TWP-O0Q1Il/5S8B2Z", "HIELFT1hnil 406 m"].map(str::to_owned);
            write(folder.path(), &cells.map(|(dpi, hundredths)| cell(dpi, hundredths)), &texts);
            python::check("text_ocr.py", [at, "--contact".into(), file.into()]);
        }
        [] | ["--condensed"] => {
            let style = if arguments.is_empty() { Style::Normal } else { Style::Condensed };
            write(folder.path(), &all_cells(style), &identifiers(300, 1040));
            match python::judge("text_ocr.py", [at]) {
                Ok(said) => println!("{said}"),
                Err(why) => println!("{why}"),
            }
        }
        other => panic!("found {other:?}, wanted nothing, --condensed or --contact FILE.png"),
    }
}
