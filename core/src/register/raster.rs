//! Bits of labels, kept once each.

use super::fault::fault;
use crate::bitmap::Bitmap;
use crate::digest::Digest;
use crate::error::{Error, Result};
use flate2::Compression;
use flate2::read::DeflateDecoder;
use flate2::write::DeflateEncoder;
use rusqlite::{Connection, OptionalExtension as _, params};
use std::io::{Read as _, Write as _};

/// Bits of a label: head lines as they come off the printer, over the width of the stock.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Kept {
    /// Dots across.
    pub dots: usize,
    /// Head lines along.
    pub lines: usize,
    /// Rows of `ceil(dots / 8)` bytes; dot 0 is the most significant bit of byte 0.
    pub rows: Vec<u8>,
}

/// Most bytes a label unpacks to: a metre of the widest head there is.
const MOST_BYTES: usize = 64 << 20;

impl Kept {
    /// The bits of a drawn label.
    pub fn of(label: &Bitmap) -> Self {
        let mut rows = Vec::new();
        label.append_head_lines(label.dots(), 0, &mut rows);
        Self { dots: label.dots(), lines: label.lines(), rows }
    }

    /// As a bitmap again.
    pub fn bitmap(&self) -> Bitmap {
        Bitmap::from_head_lines(self.dots, &self.rows)
    }

    /// Finds candidates only: the bits are compared.
    fn key(&self) -> i64 {
        i64::from_be_bytes(Digest::of(&self.rows).to_be_bytes())
    }

    /// Its number in the register; it is added where it is new.
    pub(super) fn put(&self, db: &Connection) -> Result<i64> {
        let key = self.key();
        let mut same = db
            .prepare_cached("SELECT id, bits FROM raster WHERE key = ?1 AND dots = ?2 AND lines = ?3")
            .map_err(fault)?;
        let number =
            |count: usize| i64::try_from(count).map_err(|_| Error::limit("a label with more dots than can be counted"));
        let size = (number(self.dots)?, number(self.lines)?);
        let mut found = same.query(params![key, size.0, size.1]).map_err(fault)?;
        while let Some(row) = found.next().map_err(fault)? {
            let bits: Vec<u8> = row.get(1).map_err(fault)?;
            if unpacked(&bits)? == self.rows {
                return row.get(0).map_err(fault);
            }
        }
        let mut packer = DeflateEncoder::new(Vec::new(), Compression::fast());
        let bits = packer.write_all(&self.rows).and_then(|()| packer.finish());
        let bits = bits.map_err(|error| Error::bug(format!("packing bits: {error}")))?;
        db.prepare_cached("INSERT INTO raster (key, dots, lines, bits) VALUES (?1, ?2, ?3, ?4)")
            .and_then(|mut insert| insert.insert(params![key, size.0, size.1, bits]))
            .map_err(fault)
    }

    /// The bits with a number.
    pub(super) fn get(db: &Connection, id: i64) -> Result<Self> {
        let found = db
            .prepare_cached("SELECT dots, lines, bits FROM raster WHERE id = ?1")
            .and_then(|mut get| {
                get.query_row([id], |row| Ok((row.get::<_, i64>(0)?, row.get::<_, i64>(1)?, row.get::<_, Vec<u8>>(2)?)))
                    .optional()
            })
            .map_err(fault)?;
        let (dots, lines, bits) =
            found.ok_or_else(|| Error::storage(format!("the register has lost the bits {id}")))?;
        let (dots, lines) = (usize::try_from(dots).unwrap_or(0), usize::try_from(lines).unwrap_or(0));
        let rows = unpacked(&bits)?;
        if rows.len() != dots.div_ceil(8) * lines {
            return Err(Error::storage(format!("the register has bits {id} of another size than it says")));
        }
        Ok(Self { dots, lines, rows })
    }
}

fn unpacked(bits: &[u8]) -> Result<Vec<u8>> {
    let mut rows = Vec::new();
    DeflateDecoder::new(bits)
        .take(MOST_BYTES as u64)
        .read_to_end(&mut rows)
        .map_err(|error| Error::storage(format!("the register has bits that cannot be unpacked: {error}")))?;
    Ok(rows)
}
