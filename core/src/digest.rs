//! A number that tells contents apart: FNV-1a over 64 bits (Fowler, Noll and Vo; offset and prime as
//! published, from memory). It keeps no secret, and whoever wants two contents alike can make them so.

/// Takes bytes in, piece by piece.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Digest(u64);

impl Default for Digest {
    fn default() -> Self {
        Self(0xCBF2_9CE4_8422_2325)
    }
}

impl Digest {
    /// Of these bytes.
    pub fn of(bytes: &[u8]) -> u64 {
        let mut digest = Self::default();
        digest.add(bytes);
        digest.value()
    }

    /// Takes in more bytes. How they are cut into pieces makes no difference.
    pub fn add(&mut self, bytes: &[u8]) {
        for &byte in bytes {
            self.0 = (self.0 ^ u64::from(byte)).wrapping_mul(0x0000_0100_0000_01B3);
        }
    }

    /// The number so far.
    pub const fn value(&self) -> u64 {
        self.0
    }
}

#[cfg(test)]
mod tests {
    use super::Digest;

    /// Published vectors of FNV-1a, 64 bits (from memory): "", "a", "foobar".
    #[test]
    fn published_vectors() {
        assert_eq!(Digest::of(b""), 0xCBF2_9CE4_8422_2325);
        assert_eq!(Digest::of(b"a"), 0xAF63_DC4C_8601_EC8C);
        let mut pieces = Digest::default();
        pieces.add(b"foo");
        pieces.add(b"bar");
        assert_eq!((pieces.value(), Digest::of(b"foobar")), (0x8594_4171_F739_67E8, pieces.value()));
    }
}
