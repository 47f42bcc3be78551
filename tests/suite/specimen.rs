//! Seeded identifiers drawn as they are printed, for machines and eyes to read:
//! pages for `tests/outside/text_ocr.py`.

use crate::pbm::Pbm;
use crate::sources;
use std::fmt::Write as _;
use std::path::Path;
use tapewright::bitmap::Bitmap;
use tapewright::font::{Fonts, Pen, Size, Style};

/// One size to be read.
pub(crate) struct Cell {
    /// Resolution along and up, in dots an inch.
    pub(crate) dpi: [u32; 2],
    /// Cap height in hundredths of a millimetre.
    pub(crate) hundredths: u32,
    pub(crate) style: Style,
}

/// The font file of a style.
const fn file(style: Style) -> &'static str {
    match style {
        Style::Normal => "fonts/atkinson-hyperlegible-next-semibold.ttf",
        Style::Condensed => "fonts/iosevka-charon-mono-bold-subset.ttf",
    }
}

impl Cell {
    fn cap(&self) -> i64 {
        i64::from((self.hundredths * self.dpi[1] + 1270) / 2540)
    }

    fn ratio_milli(&self) -> i64 {
        i64::from(self.dpi[0] * 1000 / self.dpi[1])
    }

    fn name(&self) -> String {
        let [along, up] = self.dpi;
        let dpi = if along == up { format!("{up}") } else { format!("{along} × {up}") };
        format!("{dpi} dpi, {}.{} mm", self.hundredths / 100, self.hundredths % 100 / 10)
    }
}

/// Cap heights from 1.5 to 4 mm at the usual resolutions.
#[allow(dead_code, reason = "the bench reads them all, the suite a few")]
pub(crate) fn all_cells(style: Style) -> Vec<Cell> {
    let cell = |dpi, hundredths| Cell { dpi: [dpi, dpi], hundredths, style };
    [180, 203, 300, 360].iter().flat_map(|&dpi| [150, 200, 250, 300, 350, 400].map(|mm| cell(dpi, mm))).collect()
}

/// Characters that are read for one another.
const ALIKE: &[u8] = b"0O1Il5S8B";

/// Identifiers as on cables: letters, a separator or none, a number. In two of five half of the
/// characters are replaced by ambiguous ones.
pub(crate) fn identifiers(count: usize, mut seed: u64) -> Vec<String> {
    // Marsaglia, "Xorshift RNGs" (2003), triple 13, 7, 17.
    let mut draw = move |below: usize| {
        seed ^= seed << 13;
        seed ^= seed >> 7;
        seed ^= seed << 17;
        usize::try_from(seed >> 33).expect("31 bits") % below
    };
    let one = |nth: usize| {
        let mut text: Vec<u8> = (0..3).map(|_| b'A' + u8::try_from(draw(26)).expect("a letter")).collect();
        text.extend([&b"-"[..], b"/", b""][draw(3)]);
        for _ in 0..3 + draw(2) {
            text.push(b'0' + u8::try_from(draw(10)).expect("a figure"));
        }
        for letter in text.iter_mut().filter(|letter| nth % 5 < 2 && letter.is_ascii_alphanumeric()) {
            if draw(2) == 0 {
                *letter = ALIKE[draw(ALIKE.len())];
            }
        }
        String::from_utf8(text).expect("ASCII")
    };
    (0..count).map(one).collect()
}

/// Writes what `text_ocr.py` reads into a folder.
pub(crate) fn write(folder: &Path, cells: &[Cell], texts: &[String]) {
    let fonts = Fonts::embedded();
    let mut pen = Pen::new(&fonts);
    let mut listed = String::new();
    for (number, cell) in cells.iter().enumerate() {
        let size = Size { style: cell.style, cap: cell.cap(), ratio_milli: cell.ratio_milli() };
        let wide = texts.iter().map(|text| fonts.dots_wide(text, size)).max().unwrap_or(0) + 8;
        let rows = 3 * usize::try_from(size.cap).expect("a height");
        let wide = usize::try_from(wide).expect("a width");
        let mut page = Pbm::blank(wide, rows * texts.len());
        let mut line = Bitmap::new(0, 0);
        for (nth, text) in texts.iter().enumerate() {
            line.reset(rows, wide);
            pen.draw(text, size, &mut line, (4, size.cap));
            for row in 0..rows {
                for column in (0..wide).filter(|&column| line.get(column, rows - 1 - row)) {
                    page.set(nth * rows + row, column);
                }
            }
        }
        page.write(&folder.join(format!("{number}.pbm")));
        let font = sources::root().join(file(cell.style));
        let (cap, ratio) = (size.cap, size.ratio_milli);
        writeln!(listed, "{}\t{cap}\t{ratio}\t{}\t{number}.pbm", cell.name(), font.display()).expect("a string");
    }
    let texts: String = texts.iter().map(|text| format!("{text}\n")).collect();
    std::fs::write(folder.join("texts.txt"), texts).expect("texts.txt can be written");
    std::fs::write(folder.join("cells.txt"), listed).expect("cells.txt can be written");
}
