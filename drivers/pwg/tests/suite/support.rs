//! The module, linked, and a reader of its streams that shares nothing with it.

use std::sync::LazyLock;

use tapewright_driver_tests::{Family, Piece};
use tapewright_host::{Cut, CutKind, Module};

/// The family of the module.
pub(crate) static PWG: LazyLock<Family> = LazyLock::new(|| {
    let module = Module::from_entry("pwg", tapewright_driver_pwg::linked_entry()).unwrap();
    Family::new(module, "pwg")
});

/// Reads a stream with the crate `pwgraster`, which is strict about runs and reserved bytes.
/// Cuts: only the one at the end, which the standard knows.
pub(crate) fn read_independently(stream: &[u8]) -> Vec<Piece> {
    let mut reader = pwgraster::PWGReader::new(stream, true).unwrap();
    let mut pieces = Vec::new();
    loop {
        let piece = reader.next_page(|page| {
            let header = page.header();
            header.validate_withreserved()?;
            let (width, height) = (header.Width()?, header.Height()?);
            assert_eq!(header.BitsPerPixel()?, 1);
            assert_eq!(header.BytesPerLine()?, width.div_ceil(8));
            let cut = match header.CutMedia()? {
                pwgraster::types::When::Never => None,
                pwgraster::types::When::AfterPage => Some(Cut { line: height, kind: CutKind::Full }),
                _ => panic!("CutMedia is neither never nor after page"),
            };
            let mut bytes = Vec::new();
            page.unpack(&mut bytes)?;
            Ok(Piece {
                dots: width,
                rows: bytes.chunks_exact(width.div_ceil(8) as usize).map(<[u8]>::to_vec).collect(),
                cuts: cut.into_iter().collect(),
                ..Piece::default()
            })
        });
        match piece.unwrap() {
            Some(piece) => pieces.push(piece),
            None => return pieces,
        }
    }
}
