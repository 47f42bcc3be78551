//! From the head line to the page row.

/// Cuts a row of dots out of a longer or shorter one.
///
/// Dot *j* of the result is dot `first + j` of the source, or 0 where the source has none. Dot 0
/// is the most significant bit of byte 0 in both; spare bits of the last byte do not come through.
///
/// ```
/// use tapewright_kit::Crop;
///
/// // A head of 16 dots, a tape that lies on 8 of them from dot 4 on.
/// let mut row = [0];
/// Crop::new(4, 16, 8).row(&[0x0F, 0xA0], &mut row);
/// assert_eq!(row, [0xFA]);
/// ```
#[derive(Debug, Clone, Copy)]
pub struct Crop {
    first: i64,
    source_dots: u32,
    dots: u32,
}

impl Crop {
    /// Takes `dots` dots from dot `first` on, which may be negative, of lines of `source_dots` dots.
    pub fn new(first: i32, source_dots: u32, dots: u32) -> Crop {
        Crop { first: i64::from(first), source_dots, dots }
    }

    /// The source itself is the result, spare bits included.
    #[must_use]
    pub fn is_identity(&self) -> bool {
        self.first == 0 && self.source_dots == self.dots && self.dots.is_multiple_of(8)
    }

    /// Fills `to`, ⌈dots / 8⌉ bytes, from a source line; spare bits become 0.
    pub fn row(&self, line: &[u8], to: &mut [u8]) {
        let shift = self.first.rem_euclid(8);
        let mut at = self.first.div_euclid(8);
        for eight in to.chunks_mut(8) {
            let high = self.word(line, at);
            let bits = if shift == 0 { high } else { high << shift | self.word(line, at + 8) >> (64 - shift) };
            let bytes = bits.to_be_bytes();
            match <&mut [u8; 8]>::try_from(&mut *eight) {
                Ok(whole) => *whole = bytes,
                Err(_) => eight.iter_mut().zip(bytes).for_each(|(slot, byte)| *slot = byte),
            }
            at += 8;
        }
        if let Some(last) = to.last_mut() {
            *last &= spare_mask(self.dots);
        }
    }

    /// Eight bytes of the source from byte `at` on, the first in the highest place; 0 where it has
    /// none.
    fn word(&self, line: &[u8], at: i64) -> u64 {
        let Ok(skipped) = usize::try_from(at) else {
            // Begins before the line.
            return if at > -8 { self.word(line, 0) >> (-8 * at) } else { 0 };
        };
        let rest = line.get(skipped..).unwrap_or_default();
        let word = match (rest.first_chunk(), line.last_chunk()) {
            (Some(&whole), _) => u64::from_be_bytes(whole),
            (None, _) if rest.is_empty() => 0,
            // Ends behind the line: its last eight bytes, without those before `at`.
            (None, Some(&last)) => u64::from_be_bytes(last) << (8 * (8 - rest.len())),
            (None, None) => {
                let mut bytes = [0; 8];
                bytes[..rest.len()].copy_from_slice(rest);
                u64::from_be_bytes(bytes)
            }
        };
        if rest.is_empty() || rest.len() > 8 {
            return word;
        }
        let spare = u64::from(!spare_mask(self.source_dots));
        word & !(spare << (8 * (8 - rest.len())))
    }
}

/// The bits of the last byte of a row of `dots` dots that are dots: `0xC0` for 10.
pub fn spare_mask(dots: u32) -> u8 {
    match dots % 8 {
        0 => 0xFF,
        used => !(0xFF >> used),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn dot(line: &[u8], at: i64) -> bool {
        usize::try_from(at).is_ok_and(|at| line[at / 8] & (0x80 >> (at % 8)) != 0)
    }

    #[test]
    fn every_dot_goes_to_its_place() {
        for source_dots in [1u32, 7, 8, 9, 24, 30, 61, 64, 65, 128, 150] {
            for dots in [1u32, 5, 8, 15, 16, 33, 64, 72, 85, 129] {
                for first in -150..160 {
                    // Every source bit set, spare ones too: they must not come through.
                    let line = vec![0xFF; source_dots.div_ceil(8) as usize];
                    let mut to = vec![0xAA; dots.div_ceil(8) as usize];
                    Crop::new(first, source_dots, dots).row(&line, &mut to);
                    for j in 0..i64::from(dots.div_ceil(8) * 8) {
                        let from = j + i64::from(first);
                        let ink = j < i64::from(dots) && (0..i64::from(source_dots)).contains(&from);
                        assert_eq!(dot(&to, j), ink, "{source_dots} {dots} {first} {j}");
                    }
                }
            }
        }
    }

    #[test]
    fn spare_bits() {
        assert_eq!([8, 1, 2, 7].map(spare_mask), [0xFF, 0x80, 0xC0, 0xFE]);
    }
}
