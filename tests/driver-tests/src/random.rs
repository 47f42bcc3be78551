//! Numbers that look random and are the same on every machine.

/// A source of numbers, the same for the same seed (xorshift64*, from memory).
#[derive(Debug, Clone)]
pub struct Random(u64);

impl Random {
    /// A source for any seed, 0 too.
    pub fn new(seed: u64) -> Random {
        Random(seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) | 1)
    }

    fn next(&mut self) -> u64 {
        self.0 ^= self.0 >> 12;
        self.0 ^= self.0 << 25;
        self.0 ^= self.0 >> 27;
        self.0.wrapping_mul(0x2545_F491_4F6C_DD1D) >> 16
    }

    /// Any byte.
    pub fn byte(&mut self) -> u8 {
        self.next().to_le_bytes()[0]
    }

    /// `count` bytes of noise.
    pub fn bytes(&mut self, count: usize) -> Vec<u8> {
        (0..count).map(|_| self.byte()).collect()
    }

    /// `count` bytes in runs of 1 to 5, of the values 0 to 3: equal neighbours are not rare.
    pub fn runs(&mut self, count: usize) -> Vec<u8> {
        let mut bytes = Vec::new();
        while bytes.len() < count {
            let run = 1 + self.count_below(5);
            bytes.extend(vec![self.byte() & 3; run]);
        }
        bytes.truncate(count);
        bytes
    }

    /// 0 … `end` − 1; `end` is at least 1.
    ///
    /// # Panics
    ///
    /// When `end` is 0.
    pub fn below(&mut self, end: u32) -> u32 {
        u32::try_from(self.next() % u64::from(end)).expect("less than a u32")
    }

    /// 0 … `end` − 1, as a count; `end` is at least 1.
    ///
    /// # Panics
    ///
    /// When `end` is 0 or more than a `u32` holds.
    pub fn count_below(&mut self, end: usize) -> usize {
        self.below(u32::try_from(end).expect("at most a u32")) as usize
    }
}

#[cfg(test)]
mod tests {
    use super::Random;

    #[test]
    fn a_seed_always_gives_the_same() {
        const EXPECTED: [u8; 8] = [233, 251, 22, 104, 135, 11, 23, 221];
        // Computed apart from this code, with integers of any size.
        assert_eq!(Random::new(7).bytes(8), EXPECTED);
        assert_ne!(Random::new(8).bytes(8), EXPECTED);
    }

    #[test]
    fn all_values_come() {
        let mut random = Random::new(0);
        let mut seen = [false; 7];
        for _ in 0..200 {
            seen[random.count_below(7)] = true;
        }
        assert_eq!(seen, [true; 7]);
        let runs = random.runs(1000);
        assert!(runs.len() == 1000 && runs.iter().all(|byte| *byte < 4));
        let equal = runs.windows(2).filter(|pair| pair[0] == pair[1]).count();
        assert!((600..900).contains(&equal), "{equal} equal neighbours");
    }
}
