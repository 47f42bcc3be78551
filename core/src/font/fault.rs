//! What is wrong with a font file.

use skrifa::raw::TableProvider as _;
use skrifa::raw::types::Tag;
use skrifa::raw::{FileRef, ReadError};
use skrifa::{FontRef, MetadataProvider};
use std::fmt;

/// Why a file cannot serve as a font.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Fault {
    /// A font packed for web pages.
    Web,
    /// No font at all, or one whose table directory is broken.
    NotAFont,
    /// The collection has so many faces, counted from 0, and not this one.
    Index {
        /// The face asked for.
        asked: u32,
        /// Faces there are.
        faces: u32,
    },
    /// This table is missing, broken or cut off.
    Table(&'static str),
}

impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let wanted = "wanted a TrueType or OpenType font (.ttf, .otf, .ttc)";
        match self {
            Self::Web => write!(f, "found a font packed for web pages (WOFF), {wanted}; unpack it first"),
            Self::NotAFont => write!(f, "found no font, {wanted}"),
            Self::Index { asked, faces: 1 } => write!(f, "found one face in the file, not #{asked}; wanted #0 or none"),
            Self::Index { asked, faces } => {
                write!(f, "found {faces} faces in the file, not #{asked}; wanted #0 to #{}", faces.saturating_sub(1))
            }
            Self::Table(table) => write!(f, "found a font whose `{table}` table is missing or broken, {wanted}"),
        }
    }
}

/// Opens a face, and holds it to what setting text needs.
pub(super) fn look(data: &[u8], index: u32) -> Result<FontRef<'_>, Fault> {
    if matches!(data.get(..4), Some(b"wOFF" | b"wOF2")) {
        return Err(Fault::Web);
    }
    let faces = match FileRef::new(data) {
        Ok(FileRef::Font(_)) => 1,
        Ok(FileRef::Collection(collection)) => collection.len(),
        Err(_) => return Err(Fault::NotAFont),
    };
    if index >= faces {
        return Err(Fault::Index { asked: index, faces });
    }
    FontRef::from_index(data, index).map_err(|_: ReadError| Fault::NotAFont)
}

/// The tables text cannot be set without, whole.
pub(super) fn tables(font: &FontRef<'_>, data: &[u8]) -> Result<(), Fault> {
    let whole = |table: &'static str, read: bool| if read { Ok(()) } else { Err(Fault::Table(table)) };
    let units = font.head().map(|head| head.units_per_em());
    whole("head", units.is_ok_and(|units| (16..=16_384).contains(&units)))?;
    whole("maxp", font.maxp().is_ok_and(|maxp| maxp.num_glyphs() > 0))?;
    whole("hhea", font.hhea().is_ok())?;
    whole("hmtx", font.hmtx().is_ok())?;
    whole("cmap", font.charmap().has_map())?;
    // The directory may promise more bytes than the file has: each table must lie inside.
    for record in font.table_directory().table_records() {
        let end = u64::from(record.offset()) + u64::from(record.length());
        let inside = end <= data.len() as u64;
        if !inside {
            return Err(Fault::Table(name(record.tag())));
        }
    }
    let outlines = font.glyf().is_ok() && font.loca(None).is_ok() || font.cff().is_ok() || font.cff2().is_ok();
    whole("glyf", outlines)
}

/// The name of a table as far as it matters to a person.
fn name(tag: Tag) -> &'static str {
    const KNOWN: [&str; 9] = ["glyf", "loca", "CFF ", "CFF2", "GSUB", "GPOS", "cmap", "hmtx", "GDEF"];
    KNOWN.into_iter().find(|known| tag == known.as_bytes()).unwrap_or("last")
}
