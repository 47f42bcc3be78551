//! Dots of a head line in the order a family sends them.

/// Where the dots of a narrower line lie on the head.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Unused {
    /// Dot 0 of the line is dot 0 of the head.
    After,
    /// The last dot of the line is the last of the head.
    Before,
    /// Half on each side; an odd one stands after.
    Both,
}

/// How a family sends the dots of its head.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Order {
    /// Dots of the head.
    pub(crate) dots: u32,
    /// Dot 0 of the head is sent last.
    pub(crate) last_first: bool,
    /// The dot sent first is the least significant bit of its byte.
    pub(crate) low_bit_first: bool,
    pub(crate) unused: Unused,
}

/// Moves the dots of a row: bytes perhaps in reverse order, bits in reverse, then a shift.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Moves {
    bytes: usize,
    mirrored: bool,
    /// Dots towards the end of the row, after mirroring; negative: towards its beginning.
    shift: i64,
    reverse_bits: bool,
    /// Dots of the target; those behind are 0.
    dots: u32,
}

impl Order {
    /// Bytes of a row in the stream.
    pub(crate) fn bytes(&self) -> usize {
        self.dots.div_ceil(8) as usize
    }

    /// From a line of `dots` dots, at most those of the head, to a row of the stream.
    pub(crate) fn to_stream(self, dots: u32) -> Moves {
        let free = self.dots.saturating_sub(dots);
        let before = i64::from(match self.unused {
            Unused::After => 0,
            Unused::Before => free,
            Unused::Both => free / 2,
        });
        let shift =
            if self.last_first { i64::from(self.dots) - before - i64::from(dots.div_ceil(8)) * 8 } else { before };
        Moves {
            bytes: self.bytes(),
            mirrored: self.last_first,
            shift,
            reverse_bits: self.low_bit_first,
            dots: self.dots,
        }
    }

    /// From a row of the stream to a line as wide as the head, in two moves: the bits of each byte,
    /// then the row.
    pub(crate) fn unsent(self) -> Moves {
        let width = i64::from(self.dots.div_ceil(8)) * 8;
        Moves {
            bytes: self.bytes(),
            mirrored: self.last_first,
            shift: if self.last_first { i64::from(self.dots) - width } else { 0 },
            reverse_bits: false,
            dots: self.dots,
        }
    }
}

impl Moves {
    /// The row goes as it is.
    pub(crate) fn is_copy(&self, from_bytes: usize) -> bool {
        !self.mirrored && self.shift == 0 && !self.reverse_bits && from_bytes == self.bytes
    }

    /// Writes the moved row into `to`, which becomes `bytes` long.
    pub(crate) fn row(&self, from: &[u8], to: &mut Vec<u8>) {
        to.clear();
        to.resize(self.bytes, 0);
        let whole = self.shift.div_euclid(8);
        let part = self.shift.rem_euclid(8);
        for (index, byte) in from.iter().enumerate() {
            let (index, byte) =
                if self.mirrored { (from.len() - 1 - index, byte.reverse_bits()) } else { (index, *byte) };
            let Ok(at) = i64::try_from(index).map(|index| index + whole) else { continue };
            let wide = (u16::from(byte) << 8) >> part;
            let [high, low] = wide.to_be_bytes();
            for (at, bits) in [(at, high), (at + 1, low)] {
                if let Some(to) = usize::try_from(at).ok().and_then(|at| to.get_mut(at)) {
                    *to |= bits;
                }
            }
        }
        if let (Some(last), 1..) = (to.last_mut(), self.dots % 8) {
            *last &= 0xFF << (8 - self.dots % 8);
        }
        if self.reverse_bits {
            to.iter_mut().for_each(|byte| *byte = byte.reverse_bits());
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn bit(row: &[u8], at: usize) -> bool {
        row[at / 8] & (0x80 >> (at % 8)) != 0
    }

    /// Each dot alone, at every width, by a rule written another way than the code above.
    #[test]
    fn every_dot_finds_its_place() {
        for head in [1u32, 7, 8, 9, 16, 21, 24] {
            for dots in 1..=head {
                for unused in [Unused::After, Unused::Before, Unused::Both] {
                    for (last_first, low_bit_first) in [(false, false), (false, true), (true, false), (true, true)] {
                        let order = Order { dots: head, last_first, low_bit_first, unused };
                        let before = match unused {
                            Unused::After => 0,
                            Unused::Before => head - dots,
                            Unused::Both => (head - dots) / 2,
                        };
                        for dot in 0..dots {
                            let mut line = vec![0u8; dots.div_ceil(8) as usize];
                            line[dot as usize / 8] |= 0x80 >> (dot % 8);
                            let mut sent = Vec::new();
                            order.to_stream(dots).row(&line, &mut sent);
                            let place = if last_first { head - 1 - before - dot } else { before + dot };
                            let mut wanted = vec![0u8; head.div_ceil(8) as usize];
                            let mask = if low_bit_first { 1 << (place % 8) } else { 0x80 >> (place % 8) };
                            wanted[place as usize / 8] |= mask;
                            assert_eq!(sent, wanted, "{order:?}, dot {dot} of {dots}");
                            let mut back = Vec::new();
                            if low_bit_first {
                                sent.iter_mut().for_each(|byte| *byte = byte.reverse_bits());
                            }
                            order.unsent().row(&sent, &mut back);
                            for at in 0..head as usize {
                                assert_eq!(
                                    bit(&back, at),
                                    at == (before + dot) as usize,
                                    "{order:?}, dot {dot} of {dots}"
                                );
                            }
                        }
                    }
                }
            }
        }
    }
}
