//! Head lines met of late, and their codes: the faces of a label and the labels of both ends of a
//! cable repeat, so most lines come again soon.

use tapewright_kit::Out;

/// Bytes kept for a job, where two lines take no more: little enough to stay in a processor's cache.
const BYTES: usize = 64 << 10;

/// Bytes of a slot that are always copied to the stream: most rows of narrow tape take no more.
const SHORT: usize = 16;

/// Lines and their codes, in a table. Each line has one slot, and takes it from the line
/// there.
#[derive(Debug)]
pub(crate) struct Recent {
    line_bytes: usize,
    slot_bytes: usize,
    /// For each slot, and for the blank line behind them: the line, the codes, and what is left.
    slots: Vec<u8>,
    /// Of the codes of each slot; 0: the slot is free.
    lengths: Vec<u32>,
    /// Takes a hash of 64 bits down to a slot.
    shift: u32,
}

/// Where a line stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Slot(usize);

impl Recent {
    /// For lines of `line_bytes`, at least 1, whose codes take at most `most_codes` bytes; `blank`
    /// are the codes of a line without ink.
    pub(crate) fn new(line_bytes: usize, most_codes: usize, blank: &[u8]) -> Recent {
        let slot_bytes = line_bytes + most_codes.max(SHORT);
        let bits = (BYTES / (slot_bytes + size_of::<u32>())).checked_ilog2().unwrap_or(0).max(1);
        let slots = 1 << bits;
        let mut recent = Recent {
            line_bytes,
            slot_bytes,
            slots: vec![0; (slots + 1) * slot_bytes],
            lengths: vec![0; slots + 1],
            shift: 64 - bits,
        };
        recent.put(Slot(slots), &vec![0; line_bytes], blank);
        recent
    }

    /// The slot of the blank line, which no other line takes.
    pub(crate) fn blank(&self) -> Slot {
        Slot(self.lengths.len() - 1)
    }

    /// The slot of a line, and whether the line is there.
    #[inline]
    pub(crate) fn find(&self, line: &[u8]) -> (Slot, bool) {
        #[allow(clippy::cast_possible_truncation, reason = "at most as many bits as there are slots for")]
        let slot = (hash(line) >> self.shift) as usize;
        let is_there = self.lengths[slot] > 0 && equal(&self.slot(slot)[..self.line_bytes], line);
        (Slot(slot), is_there)
    }

    /// Keeps a line in the slot that [`Recent::find`] named for it.
    pub(crate) fn put(&mut self, Slot(slot): Slot, line: &[u8], codes: &[u8]) {
        let to = &mut self.slots[slot * self.slot_bytes..][..self.slot_bytes];
        to[..self.line_bytes].copy_from_slice(line);
        to[self.line_bytes..][..codes.len()].copy_from_slice(codes);
        self.lengths[slot] = u32::try_from(codes.len()).expect("a row has at most u32::MAX dots");
    }

    #[inline]
    fn slot(&self, slot: usize) -> &[u8] {
        &self.slots[slot * self.slot_bytes..][..self.slot_bytes]
    }

    /// The codes of the line in a slot.
    #[inline]
    pub(crate) fn codes(&self, Slot(slot): Slot) -> &[u8] {
        &self.slot(slot)[self.line_bytes..][..self.lengths[slot] as usize]
    }

    /// Writes the codes of the line in a slot.
    #[inline]
    pub(crate) fn write(&self, Slot(slot): Slot, out: &mut Out) {
        let codes = &self.slot(slot)[self.line_bytes..];
        let length = self.lengths[slot] as usize;
        match codes.first_chunk::<SHORT>() {
            Some(short) if length <= SHORT => out.extend_first(short, length),
            _ => out.extend(&codes[..length]),
        }
    }
}

/// Whether two lines of the same length are the same; as fast as can be for the most common head.
#[inline]
pub(crate) fn equal(one: &[u8], two: &[u8]) -> bool {
    match (<&[u8; 16]>::try_from(one), <&[u8; 16]>::try_from(two)) {
        (Ok(one), Ok(two)) => one == two,
        _ => one == two,
    }
}

/// A number of the bytes, whose high bits are the best. Lines made to share one cost time, no more.
fn hash(line: &[u8]) -> u64 {
    // Odd, and near 2^64 divided by the golden ratio (from memory: Knuth, The Art of Computer
    // Programming, volume 3, section 6.4, multiplicative hashing).
    const FACTOR: u64 = 0x9E37_79B9_7F4A_7C15;
    let mix = |hash: u64, word: u64| (hash.rotate_left(29) ^ word).wrapping_mul(FACTOR);
    let (words, rest) = line.as_chunks::<8>();
    let hash = words.iter().fold(0, |hash, word| mix(hash, u64::from_le_bytes(*word)));
    rest.iter().fold(hash, |hash, byte| mix(hash, u64::from(*byte)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_line_is_found_until_another_takes_its_slot() {
        for line_bytes in [1, 7, 8, 9, 16, 157] {
            let mut recent = Recent::new(line_bytes, line_bytes + 2, b"-");
            let line = |number: u32| -> Vec<u8> { number.to_le_bytes().into_iter().cycle().take(line_bytes).collect() };
            for number in 0..5000 {
                let line = line(number);
                let (slot, known) = recent.find(&line);
                assert_ne!(slot, recent.blank());
                if !known {
                    recent.put(slot, &line, &line);
                }
                assert_eq!(recent.find(&line), (slot, true));
                assert_eq!(recent.codes(slot), line);
            }
            let mut kept = 0;
            for number in 0..5000 {
                let line = line(number);
                let (slot, known) = recent.find(&line);
                assert!(!known || recent.codes(slot) == line);
                kept += usize::from(known);
            }
            assert!(kept > 100, "{line_bytes}: {kept} of 5000 lines were kept");
            assert_eq!(recent.codes(recent.blank()), b"-");
        }
    }

    #[test]
    fn codes_are_written_whole() {
        for length in [1, 15, 16, 40] {
            let codes: Vec<u8> = (1..=length).collect();
            let mut recent = Recent::new(40, 40, b"-");
            let (slot, _) = recent.find(&[7; 40]);
            recent.put(slot, &[7; 40], &codes);
            let mut out = Out::new();
            recent.write(slot, &mut out);
            recent.write(recent.blank(), &mut out);
            assert_eq!(out.bytes(), [&codes[..], b"-"].concat());
        }
    }

    #[test]
    fn memory_has_a_bound() {
        for line_bytes in [1, 16, 156, 10_000, 100_000] {
            let recent = Recent::new(line_bytes, line_bytes + 1, &[0]);
            let bytes = recent.slots.len() + 4 * recent.lengths.len();
            let one = line_bytes + (line_bytes + 1).max(SHORT) + 4;
            assert!(bytes <= BYTES.max(2 * one) + one, "{line_bytes}: {bytes}");
        }
    }
}
