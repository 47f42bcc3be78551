//! Fonts of the user's: named in a job file, or in `fonts` of the user's folder.

use crate::error::{Doing, Error, Result};
use crate::font::{FontFile, Fonts, MOST_FONTS};
use crate::store::files::{list_folder, read_bytes};
use std::path::{Path, PathBuf};

/// Most bytes of a font file. The largest in use, all of Chinese, Japanese and Korean in one
/// collection, have about 120 MiB.
const MAX_FONT_BYTES: u64 = 256 << 20;

/// Names of font files end so.
const ENDINGS: [&str; 4] = ["ttf", "otf", "ttc", "otc"];

/// The font files in a folder, in name order; none if there is no such folder.
///
/// # Errors
/// Kind `Storage`: the folder cannot be read.
pub(super) fn in_folder(folder: &Path) -> Result<Vec<PathBuf>> {
    if !folder.is_dir() {
        return Ok(Vec::new());
    }
    let is_font = |path: &PathBuf| {
        let ending = path.extension().unwrap_or_default().to_string_lossy().to_lowercase();
        ENDINGS.contains(&ending.as_str()) && path.is_file()
    };
    Ok(list_folder(folder)?.into_iter().filter(is_font).collect())
}

/// A path as a job file names it: `FILE` or, for another face of a collection, `FILE#INDEX`.
fn named(place: &Path, text: &str) -> (PathBuf, u32) {
    let whole = place.join(text);
    let parts = text.rsplit_once('#').and_then(|(file, index)| Some((place.join(file), index.parse().ok()?)));
    match parts {
        Some(parts) if !whole.exists() => parts,
        _ => (whole, 0),
    }
}

fn read(path: &Path, index: u32) -> Result<FontFile> {
    Ok(FontFile { bytes: read_bytes(path, MAX_FONT_BYTES, "a font file")?, index })
}

/// The fonts of a job: those of the program, `main` in front of them, and `more` after them, then
/// `own`, the files of the user's folder. Paths are relative to `place`.
///
/// A file of the folder that is no font is left out, since no job asked for it; beside the fonts
/// stands a sentence for each.
///
/// # Errors
/// Kind `Input`: a file that is named is not there, too large, or no font that can be set, naming it;
/// too many fonts. Kind `Storage`: it cannot be read.
pub(super) fn load(
    place: &Path,
    main: Option<&String>,
    more: &[String],
    own: &[PathBuf],
) -> Result<(Fonts, Vec<String>)> {
    let count = usize::from(main.is_some()) + more.len() + own.len();
    if count > MOST_FONTS {
        return Err(Error::input(format!("found {count} fonts, wanted at most {MOST_FONTS}")));
    }
    let mut fonts = Fonts::embedded();
    if let Some(main) = main {
        let (path, index) = named(place, main);
        let file = read(&path, index).doing(|| "font".into())?;
        fonts.lead(file).map_err(|fault| Error::input(format!("font: {}: {fault}", path.display())))?;
    }
    for text in more {
        let (path, index) = named(place, text);
        let file = read(&path, index).doing(|| "fonts".into())?;
        fonts.add(file).map_err(|fault| Error::input(format!("fonts: {}: {fault}", path.display())))?;
    }
    let mut left_out = Vec::new();
    for path in own {
        let added = read(path, 0)
            .and_then(|file| fonts.add(file).map_err(|fault| Error::input(format!("{}: {fault}", path.display()))));
        if let Err(error) = added {
            left_out.push(format!("a font in your settings folder is left out: {error}"));
        }
    }
    Ok((fonts, left_out))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::font::Style;

    const JOINED: &[u8] = include_bytes!("../../../fonts/dejavu-sans-bold-subset.ttf");
    const MONO: &[u8] = include_bytes!("../../../fonts/dejavu-sans-mono-bold.ttf");

    /// Two fonts as one collection (OpenType 1.9, "Font collections"): the header, then both files,
    /// their table offsets counted from the start of the collection.
    fn collection(fonts: [&[u8]; 2]) -> Vec<u8> {
        let mut bytes = b"ttcf\x00\x01\x00\x00\x00\x00\x00\x02".to_vec();
        let mut at = bytes.len() + 8;
        for font in fonts {
            bytes.extend(u32::try_from(at).unwrap().to_be_bytes());
            at += font.len().next_multiple_of(4);
        }
        for font in fonts {
            let (start, mut own) = (u32::try_from(bytes.len()).unwrap(), font.to_vec());
            for table in 0..usize::from(u16::from_be_bytes([font[4], font[5]])) {
                let offset = &mut own[12 + 16 * table + 8..][..4];
                let moved = u32::from_be_bytes(offset.try_into().unwrap()) + start;
                offset.copy_from_slice(&moved.to_be_bytes());
            }
            own.resize(own.len().next_multiple_of(4), 0);
            bytes.extend(own);
        }
        bytes
    }

    #[test]
    fn a_collection_is_opened_by_index_and_a_mark_in_a_file_name_is_no_index() {
        let folder = tempfile::tempdir().unwrap();
        let write = |name: &str, bytes: &[u8]| std::fs::write(folder.path().join(name), bytes).unwrap();
        write("both.ttc", &collection([JOINED, MONO]));
        write("deck#1", MONO);
        let lead = |name: &str| load(folder.path(), Some(&name.to_owned()), &[], &[]).map(|(fonts, _)| fonts);
        let wide = |fonts: &Fonts| fonts.measure("WWW", Style::Normal).unwrap().width;
        let mono = wide(&lead("deck#1").unwrap());
        assert!((wide(&lead("both.ttc#1").unwrap()) - mono).abs() < 1e-9);
        assert!((wide(&lead("both.ttc").unwrap()) - mono).abs() > 0.1, "face 0 has no W: the plain face sets it");
        let refused = lead("both.ttc#2").err().unwrap().to_string();
        assert!(refused.ends_with("both.ttc: found 2 faces in the file, not #2; wanted #0 to #1"), "{refused}");
        let refused = lead("deck#1#3").err().unwrap().to_string();
        assert!(refused.ends_with("deck#1: found one face in the file, not #3; wanted #0 or none"), "{refused}");
    }

    #[test]
    fn a_broken_font_is_refused_by_name() {
        let folder = tempfile::tempdir().unwrap();
        let mut torn = MONO.to_vec();
        torn.truncate(MONO.len() / 2);
        for (name, bytes, wanted) in [
            ("notes.ttf", &b"not a font at all"[..], "notes.ttf: found no font, wanted a TrueType or OpenType font"),
            ("web.woff2", b"wOF2\0\0\0\0", "web.woff2: found a font packed for web pages (WOFF)"),
            ("torn.ttf", &torn, "torn.ttf: found a font whose `"),
            ("empty.ttf", b"", "empty.ttf: found no font"),
        ] {
            std::fs::write(folder.path().join(name), bytes).unwrap();
            let refused = load(folder.path(), None, &[name.to_owned()], &[]).err().unwrap().to_string();
            assert!(refused.contains(wanted), "found {refused}, wanted {wanted}");
        }
        // In the user's folder it stops no job, and the fonts after it are there.
        std::fs::write(folder.path().join("whole.ttf"), MONO).unwrap();
        let own = ["notes.ttf", "gone.ttf", "whole.ttf"].map(|name| folder.path().join(name));
        let (_, left_out) = load(folder.path(), None, &[], &own).unwrap();
        assert_eq!(left_out.len(), 2);
        assert!(left_out[0].contains("left out: ") && left_out[0].contains("notes.ttf: found no font"), "{left_out:?}");
        let refused = load(folder.path(), None, &["gone.ttf".to_owned()], &[]).err().unwrap();
        assert!(refused.to_string().ends_with("gone.ttf: no such file or directory"), "{refused}");
    }

    #[test]
    fn every_cut_of_a_font_is_refused_or_set() {
        for length in (0..JOINED.len()).step_by(997) {
            let mut fonts = Fonts::embedded();
            let file = FontFile { bytes: JOINED[..length].to_vec(), index: 0 };
            assert!(fonts.add(file).is_err(), "{length} of {} bytes", JOINED.len());
        }
    }

    #[test]
    fn the_folder_is_read_in_name_order() {
        let folder = tempfile::tempdir().unwrap();
        for name in ["b.TTF", "a.otf", "readme.txt", "c.ttc"] {
            std::fs::write(folder.path().join(name), b"").unwrap();
        }
        std::fs::create_dir(folder.path().join("d.ttf")).unwrap();
        let found = in_folder(folder.path()).unwrap();
        let names: Vec<_> = found.iter().map(|path| path.file_name().unwrap().to_str().unwrap()).collect();
        assert_eq!(names, ["a.otf", "b.TTF", "c.ttc"]);
        assert!(in_folder(&folder.path().join("fonts")).unwrap().is_empty());
    }
}
