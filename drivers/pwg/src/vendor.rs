//! What a strip has and the page header has no field for, in the header's vendor data: cuts inside
//! the strip, and a resolution that is no whole number of dots per inch.
//!
//! The vendor identifier is 0 (from memory: a USB vendor number stands there; this layout belongs
//! to none), the vendor length is the number of bytes used. The data:
//!
//! | bytes | |
//! |---|---|
//! | `TWCL` | magic |
//! | 01 | version |
//! | number | how many cuts |
//! | number, for each cut | 2 · (its line − the line of the cut before, or − 0) + (1: full, 0: half) |
//! | two numbers, or nothing | resolution across and along in thousandths of a dot per inch |
//!
//! A number is written in groups of 7 bits, lowest first, the top bit set in all bytes but the
//! last (unsigned LEB128, from memory: DWARF 4, 7.6), in as few bytes as it takes. Lines ascend
//! strictly. A full cut at the end of the strip does not stand here: `CutMedia` says it. The
//! resolution stands here only where rounding lost something. Where nothing is to be carried, there
//! is no vendor data.

use tapewright_kit::{Cut, CutKind, Fault};

/// Bytes of vendor data in a page header (PWG 5102.4-2012).
pub const ROOM: usize = 1088;

const MAGIC: &[u8; 4] = b"TWCL";
const VERSION: u8 = 1;

/// What the vendor data of a page carries.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Vendor {
    /// Cuts inside the strip, ascending strictly by line.
    pub cuts: Vec<Cut>,
    /// Resolution across and along in thousandths of a dot per inch, at least 1 each; `None` when
    /// what the header says is exact.
    pub dpi_milli: Option<(u32, u32)>,
}

/// Writes vendor data; empty for nothing to carry.
///
/// # Errors
///
/// Kind `Limit` when it takes more than [`ROOM`] bytes.
pub fn encode(cuts: &[Cut], dpi_milli: Option<(u32, u32)>) -> Result<Vec<u8>, Fault> {
    let mut data = Vec::new();
    if cuts.is_empty() && dpi_milli.is_none() {
        return Ok(data);
    }
    data.extend(MAGIC);
    data.push(VERSION);
    put(&mut data, cuts.len() as u64);
    let mut last = 0;
    for cut in cuts {
        let delta = u64::from(cut.line.saturating_sub(last));
        put(&mut data, delta * 2 + u64::from(cut.kind == CutKind::Full));
        last = cut.line;
    }
    if let Some((across, along)) = dpi_milli {
        put(&mut data, across.into());
        put(&mut data, along.into());
    }
    if data.len() > ROOM {
        return Err(Fault::limit(format!(
            "the cut list of {} cuts takes {} bytes, a PWG page header holds {ROOM}; plan shorter strips",
            cuts.len(),
            data.len()
        )));
    }
    Ok(data)
}

/// Reads vendor data; `lines` is the length of the strip.
///
/// # Errors
///
/// Where in `data`, what was found and what was wanted.
pub fn decode(data: &[u8], lines: u32) -> Result<Vendor, (usize, String)> {
    if data.is_empty() {
        return Ok(Vendor::default());
    }
    if !data.starts_with(MAGIC) {
        let found = data[..data.len().min(4)].escape_ascii();
        return Err((0, format!("vendor data begins with {found}, wanted TWCL")));
    }
    let mut at = MAGIC.len();
    match data.get(at) {
        Some(&VERSION) => at += 1,
        found => {
            return Err((at, format!("cut list has version {found:?}, wanted {VERSION}")));
        }
    }
    let count = get(data, &mut at)?;
    // Each cut takes a byte, so the count is no reason to set memory aside for more.
    let room = data.len() - at;
    if count > room as u64 || room == 0 {
        return Err((5, format!("cut list has {count} cuts in {room} bytes, wanted at least a byte for each")));
    }
    let mut cuts: Vec<Cut> = Vec::new();
    for _ in 0..count {
        let start = at;
        let number = get(data, &mut at)?;
        let kind = if number & 1 == 1 { CutKind::Full } else { CutKind::Half };
        let last = cuts.last().map(|cut| cut.line);
        let line = u64::from(last.unwrap_or(0)) + number / 2;
        let least = last.map_or(0, |last| u64::from(last) + 1);
        match u32::try_from(line) {
            Ok(line) if u64::from(line) >= least && line <= lines => cuts.push(Cut { line, kind }),
            _ => {
                return Err((start, format!("cut at line {line}, wanted {least} to {lines}")));
            }
        }
    }
    let mut dpi_milli = None;
    if at < data.len() {
        let start = at;
        match (u32::try_from(get(data, &mut at)?), u32::try_from(get(data, &mut at)?)) {
            (Ok(across @ 1..), Ok(along @ 1..)) => dpi_milli = Some((across, along)),
            found => {
                return Err((start, format!("resolution is {found:?}, wanted two numbers from 1 to {}", u32::MAX)));
            }
        }
    }
    if at != data.len() {
        return Err((at, format!("{} bytes after the resolution, wanted none", data.len() - at)));
    }
    Ok(Vendor { cuts, dpi_milli })
}

fn put(data: &mut Vec<u8>, mut number: u64) {
    while number > 0x7F {
        data.push(0x80 | (number & 0x7F) as u8);
        number >>= 7;
    }
    #[allow(clippy::cast_possible_truncation)] // At most 7 bits are left.
    data.push(number as u8);
}

fn get(data: &[u8], at: &mut usize) -> Result<u64, (usize, String)> {
    let start = *at;
    let mut number = 0;
    // 2 · 2³² takes 33 bits, 5 groups.
    for shift in (0..35).step_by(7) {
        let Some(&byte) = data.get(*at) else {
            return Err((*at, "cut list ends inside a number".into()));
        };
        *at += 1;
        number |= u64::from(byte & 0x7F) << shift;
        if byte < 0x80 {
            if byte == 0 && shift > 0 {
                return Err((start, "number with a zero group at its end, wanted the shortest form".into()));
            }
            return Ok(number);
        }
    }
    Err((start, "number of more than 5 groups, wanted at most 5".into()))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn half(line: u32) -> Cut {
        Cut { line, kind: CutKind::Half }
    }

    fn full(line: u32) -> Cut {
        Cut { line, kind: CutKind::Full }
    }

    fn bytes(cuts: &[Cut]) -> Vec<u8> {
        encode(cuts, None).unwrap()
    }

    fn cuts(data: &[u8], lines: u32) -> Vec<Cut> {
        decode(data, lines).unwrap().cuts
    }

    #[test]
    fn layout() {
        assert_eq!(bytes(&[]), []);
        let list = [half(0), full(100), half(164)];
        assert_eq!(bytes(&list), b"TWCL\x01\x03\x00\xC9\x01\x80\x01");
        assert_eq!(cuts(b"TWCL\x01\x03\x00\xC9\x01\x80\x01", 164), list);
    }

    #[test]
    fn a_resolution_stands_behind_the_cuts() {
        // 203200 = 12 · 2¹⁴ + 51 · 2⁷ + 64, 180000 = 10 · 2¹⁴ + 126 · 2⁷ + 32.
        let data = encode(&[half(3)], Some((203_200, 180_000))).unwrap();
        assert_eq!(data, b"TWCL\x01\x01\x06\xC0\xB3\x0C\xA0\xFE\x0A");
        assert_eq!(decode(&data, 9).unwrap(), Vendor { cuts: vec![half(3)], dpi_milli: Some((203_200, 180_000)) });
        let alone = encode(&[], Some((1, u32::MAX))).unwrap();
        assert_eq!(decode(&alone, 9).unwrap(), Vendor { cuts: Vec::new(), dpi_milli: Some((1, u32::MAX)) });
    }

    #[test]
    fn there_and_back() {
        let far = [half(0), half(1), full(u32::MAX - 1), half(u32::MAX)];
        assert_eq!(cuts(&bytes(&far), u32::MAX), far);
    }

    #[test]
    fn several_hundred_cuts_fit() {
        // 400 labels of 300 lines: two bytes a cut.
        let list: Vec<Cut> = (1..=400).map(|n| half(n * 300)).collect();
        let data = bytes(&list);
        assert_eq!(data.len(), 5 + 2 + 800);
        assert_eq!(cuts(&data, 400 * 300), list);
        let list: Vec<Cut> = (1..=600).map(|n| half(n * 300)).collect();
        let fault = encode(&list, None).unwrap_err();
        assert_eq!(
            fault.text,
            "the cut list of 600 cuts takes 1207 bytes, a PWG page header holds 1088; plan shorter strips"
        );
    }

    #[test]
    fn bad_data_says_where() {
        let text = |data: &[u8]| decode(data, 200).unwrap_err();
        assert_eq!(text(b"XY"), (0, "vendor data begins with XY, wanted TWCL".into()));
        assert_eq!(text(b"TWCL\x02"), (4, "cut list has version Some(2), wanted 1".into()));
        let wanted = "wanted at least a byte for each";
        assert_eq!(text(b"TWCL\x01\x00"), (5, format!("cut list has 0 cuts in 0 bytes, {wanted}")));
        assert_eq!(text(b"TWCL\x01\x02\x02"), (5, format!("cut list has 2 cuts in 1 bytes, {wanted}")));
        assert_eq!(text(b"TWCL\x01\x01\x80"), (7, "cut list ends inside a number".into()));
        assert_eq!(text(b"TWCL\x01\x02\x02\x00"), (7, "cut at line 1, wanted 2 to 200".into()));
        assert_eq!(text(b"TWCL\x01\x01\x92\x03"), (6, "cut at line 201, wanted 0 to 200".into()));
        assert_eq!(text(b"TWCL\x01\x01\x02\x05"), (8, "cut list ends inside a number".into()));
        let found = text(b"TWCL\x01\x01\x02\x05\x00");
        assert_eq!(found.0, 7);
        assert!(found.1.starts_with("resolution is (Ok(5), Ok(0)), wanted two numbers from 1"), "{}", found.1);
        assert_eq!(text(b"TWCL\x01\x01\x02\x05\x05\x05"), (9, "1 bytes after the resolution, wanted none".into()));
        assert_eq!(
            text(b"TWCL\x01\x01\x80\x00"),
            (6, "number with a zero group at its end, wanted the shortest form".into())
        );
        assert_eq!(
            text(b"TWCL\x01\x01\xFF\xFF\xFF\xFF\xFF\x01"),
            (6, "number of more than 5 groups, wanted at most 5".into())
        );
    }
}
