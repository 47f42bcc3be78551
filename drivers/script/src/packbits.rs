//! PackBits (TIFF revision 6.0, section 9; Apple technical note TN1023).
//!
//! Each row is packed on its own. A code *n* of 0 … 127 stands before *n* + 1 bytes as they are; a
//! code of 129 … 255 stands before one byte that is repeated 257 − *n* times; 128 means nothing.

pub(crate) use tapewright_kit::packbits::encode;

/// Most bytes a row of `bytes` bytes takes: one code for each 128 bytes.
pub(crate) fn longest(bytes: usize) -> usize {
    bytes + bytes.div_ceil(128)
}

/// Unpacks exactly `length` bytes from all of `from`; otherwise says what was found.
pub(crate) fn decode(from: &[u8], length: usize, to: &mut Vec<u8>) -> Result<(), String> {
    let end = to.len() + length;
    let mut at = 0;
    while at < from.len() {
        let code = usize::from(from[at]);
        let taken =
            match code {
                0..128 => {
                    let literal = from.get(at + 1..at + 2 + code);
                    to.extend(literal.ok_or_else(|| {
                        format!("a code for {} bytes before the last {}", code + 1, from.len() - at - 1)
                    })?);
                    code + 2
                }
                128 => 1,
                _ => {
                    let byte = from.get(at + 1).ok_or("a repeat without its byte")?;
                    to.extend(std::iter::repeat_n(*byte, 257 - code));
                    2
                }
            };
        if to.len() > end {
            return Err(format!("more than {length} bytes, wanted that many"));
        }
        at += taken;
    }
    if to.len() < end {
        return Err(format!("{} bytes, wanted {length}", length - (end - to.len())));
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The example of Apple TN1023 (from memory): unpacked 24 bytes, packed 15.
    const UNPACKED: [u8; 24] = [
        0xAA, 0xAA, 0xAA, 0x80, 0x00, 0x2A, 0xAA, 0xAA, 0xAA, 0xAA, 0x80, 0x00, 0x2A, 0x22, 0xAA, 0xAA, 0xAA, 0xAA,
        0xAA, 0xAA, 0xAA, 0xAA, 0xAA, 0xAA,
    ];
    const PACKED: [u8; 15] = [0xFE, 0xAA, 0x02, 0x80, 0x00, 0x2A, 0xFD, 0xAA, 0x03, 0x80, 0x00, 0x2A, 0x22, 0xF7, 0xAA];

    #[test]
    fn the_published_example() {
        let mut packed = Vec::new();
        encode(&UNPACKED, &mut packed);
        assert_eq!(packed, PACKED);
        let mut unpacked = Vec::new();
        decode(&PACKED, 24, &mut unpacked).unwrap();
        assert_eq!(unpacked, UNPACKED);
    }

    #[test]
    fn all_short_rows_of_two_bytes_come_back() {
        for length in 0..14u32 {
            for bits in 0..1u32 << length {
                let row: Vec<u8> = (0..length).map(|at| if bits >> at & 1 == 1 { 0xF0 } else { 3 }).collect();
                let (mut packed, mut back) = (Vec::new(), Vec::new());
                encode(&row, &mut packed);
                assert!(packed.len() <= longest(row.len()), "{row:?} takes {} bytes", packed.len());
                decode(&packed, row.len(), &mut back).unwrap();
                assert_eq!(back, row);
            }
        }
    }

    #[test]
    fn long_rows_keep_their_limit() {
        for length in [127, 128, 129, 255, 256, 257, 1000] {
            for step in [0, 1, 7] {
                let row: Vec<u8> = (0..length).map(|at: usize| (at * step).to_le_bytes()[0]).collect();
                let (mut packed, mut back) = (Vec::new(), Vec::new());
                encode(&row, &mut packed);
                assert!(packed.len() <= longest(length));
                decode(&packed, length, &mut back).unwrap();
                assert_eq!(back, row);
            }
        }
    }

    #[test]
    fn damage_is_told() {
        let text = |from: &[u8], length| decode(from, length, &mut Vec::new()).unwrap_err();
        assert_eq!(text(&[3, 1], 4), "a code for 4 bytes before the last 1");
        assert_eq!(text(&[0xFE], 3), "a repeat without its byte");
        assert_eq!(text(&[0xFE, 1], 4), "3 bytes, wanted 4");
        assert_eq!(text(&[0xFE, 1], 2), "more than 2 bytes, wanted that many");
        decode(&[128, 0xFE, 1], 3, &mut Vec::new()).unwrap();
    }
}
